#include "commands/run.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "commands/takes.hpp"
#include "midi/ports/library_lines.hpp"
#include "midi/ports/systems.hpp"
#include "status/status.hpp"
#include "studio/file_player.hpp"
#include "studio/folders.hpp"
#include "studio/logging.hpp"
#include "studio/memory_lock.hpp"
#include "studio/service.hpp"

#include <spdlog/spdlog.h>

#include <csignal>
#include <cstdlib>
#include <pthread.h>
#include <sys/stat.h>
#include <unistd.h>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

fs::path socket_path(const Settings& settings)
{
    if (!settings.socket.empty()) return settings.socket;
    if (const fs::path runtime = runtime_folder(); !runtime.empty()) return runtime / "bowarm" / "status.sock";
    spdlog::warn("no status socket: XDG_RUNTIME_DIR is not set to an absolute path; log in once or enable lingering, or name a socket in "
                 "the configuration");
    return {};
}

fs::path token_path(const Settings& settings, const fs::path& socket)
{
    return settings.token_file.empty() ? socket.parent_path() / "token" : settings.token_file;
}

// What a service for one person does not need: the whole machine.
void refuse_root(const Arguments& arguments)
{
    if (::geteuid() == 0 && !arguments.has("--as-root"))
        throw CommandFailure(exit_code::usage,
                             "bowarmd run: not as root; run it as the person who plays, or say --as-root if it has to be");
}

std::optional<std::vector<Input>> script_from(const Arguments& arguments)
{
    const auto file = arguments.value("--play");
    if (!file) return std::nullopt;
    const StandardFile song = midi_file_from(*file, false);
    for (const FileWarning& warning : song.warnings) spdlog::warn("{}: byte {}: {}", *file, warning.offset, warning.what);
    std::vector<Input> script = script_of(song);
    if (script.empty()) throw CommandFailure(exit_code::bad_data, *file + ": has no notes; name a file with music in it");
    return script;
}

std::unique_ptr<Service> service_of(ServiceWish wish)
{
    const std::string socket = wish.status.socket.string();
    try {
        return std::make_unique<Service>(std::move(wish));
    } catch (const SocketInUse&) {
        throw CommandFailure(exit_code::try_later,
                             "another bowarmd runs on " + socket + "; stop it first, or name another socket in the configuration");
    } catch (const SocketProblem& problem) {
        throw CommandFailure(exit_code::cannot_create, problem.what());
    }
}

#if defined(__SANITIZE_THREAD__)
constexpr std::size_t stack_size = 8U << 20; // that sanitizer keeps more than the other in each thread's own storage
#else
constexpr std::size_t stack_size = 512 * 1024;
#endif

// JACK locks the memory of its clients, whole thread stacks with it; none of ours needs the usual eight megabytes.
void keep_stacks_small()
{
    pthread_attr_t attributes;
    ::pthread_attr_init(&attributes);
    ::pthread_attr_setstacksize(&attributes, stack_size);
    ::pthread_setattr_default_np(&attributes);
    ::pthread_attr_destroy(&attributes);
}

} // namespace

int run_command(const Arguments& arguments)
{
    // Whoever reads our log may go, and a disk may take no more: neither ends the music.
    std::signal(SIGPIPE, SIG_IGN);
    std::signal(SIGXFSZ, SIG_IGN);
    if (arguments.has("--stay") && !arguments.has("--play"))
        throw CommandFailure(exit_code::usage, "bowarmd run: --stay is of use only with --play; without a file the service stays anyway");
    // Takes, the socket and their folders are their owner's alone.
    ::umask(077);
    keep_stacks_small();
    keep_on_heap();
    ServiceWish wish;
    wish.settings = settings_from(arguments);
    refuse_root(arguments);
    set_up_logging(arguments.has("--verbose") ? "debug" : wish.settings.log_level);
    wish.script = script_from(arguments);
    wish.stay = arguments.has("--stay");
    wish.take_place = [arguments](const Settings& settings) {
        return settings.take.keep || arguments.has("--takes") ? take_folder_of(settings, arguments.value("--takes")) : fs::path{};
    };
    wish.take_folder = wish.take_place(wish.settings);
    wish.log_level_asked = arguments.has("--verbose");
    wish.own_configuration = own_configuration_path(arguments.value("--config"));
    if (wish.take_folder.empty() && wish.settings.take.keep)
        spdlog::warn("no place for takes: neither XDG_STATE_HOME nor HOME is set; give --takes FOLDER");
    wish.status.socket = socket_path(wish.settings);
    wish.status.tcp_port = wish.settings.tcp_port;
    wish.status.token_file = token_path(wish.settings, wish.status.socket);
    wish.left_over = gather_left_over(wish.take_folder, to_duration(wish.settings.take.silence));
    wish.read_again = [arguments] { return load_as_asked(arguments); };
    wish.open_system = [midi = wish.settings.midi](std::shared_ptr<Wakeup> bell) {
        return open_system(midi.system, midi.client, std::move(bell));
    };

    const LibraryLines guard;
    return service_of(std::move(wish))->run();
}

} // namespace bowarm
