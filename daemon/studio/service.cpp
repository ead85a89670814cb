#include "studio/service.hpp"

#include "midi/ports/monotonic.hpp"
#include "status/status.hpp"
#include "studio/build_id.hpp"
#include "studio/engine_thread.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/progress.hpp"
#include "studio/take_writer.hpp"
#include "studio/version.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <spdlog/spdlog.h>

#include <chrono>
#include <csignal>
#include <ctime>
#include <thread>
#include <unistd.h>

namespace bowarm
{
namespace
{

constexpr int exit_fine = 0;
constexpr int exit_unavailable = 69;
constexpr int exit_input_output = 74;

// How long the start waits for the ports to be looked at once.
constexpr Duration first_look = milliseconds(3000);
constexpr Duration keeper_hangs_after = milliseconds(30'000);
constexpr Duration closing_at_most = milliseconds(1900);

PortState to_port_state(const PortView::Port& port)
{
    PortState state;
    state.role = port.role;
    state.name = port.name;
    state.state = port.state;
    state.connected = port.connected;
    state.messages = port.messages;
    state.dropped = port.dropped;
    return state;
}

std::string joined(const std::vector<std::string>& texts)
{
    std::string all;
    for (const std::string& text : texts) all += (all.empty() ? "" : ", ") + text;
    return all;
}

} // namespace

class Service::House final : public StatusSource
{
public:
    explicit House(ServiceWish wish)
        : wish_(std::move(wish)), lines_(std::make_shared<Lines>()), started_ns_(monotonic_ns()),
          engine_(LiveEngine{Player{wish_.settings.player}, script(), *lines_}, *lines_),
          keeper_(wish_.settings.midi, lines_, wish_.open_system), signals_(io_, SIGINT, SIGTERM, SIGHUP), tick_(io_),
          engine_news_(io_, ::dup(lines_->service_wake.descriptor()))
    {
        if (!wish_.socket.empty()) status_.emplace(io_, StatusOptions{wish_.socket, 16}, *this);
    }

    int run()
    {
        wait_for_signal();
        wait_for_engine_news();
        start_takes();
        keeper_.start();
        code_ = look_for_what_is_needed();
        if (code_ == exit_fine) {
            engine_.start();
            keeper_.playing();
            spdlog::info("ready: {} for {}", name_of(wish_.settings.player.instrument.name), name_of(wish_.settings.player.target.name));
            wait_for_tick();
            io_.run();
        }
        return close_down();
    }

    // StatusSource

    std::size_t player_count() const override { return 1; }
    Snapshot snapshot(std::size_t) override
    {
        lines_->snapshot.read(snapshot_);
        return snapshot_;
    }
    ServiceState service() override
    {
        const PortView ports = keeper_.view();
        ServiceState state;
        state.midi_system = ports.system;
        state.version = version;
        state.running_s = static_cast<double>(monotonic_ns() - started_ns_) * 1e-9;
        state.take_folder = wish_.take_folder.string();
        if (takes_) state.take_problem = takes_->problem();
        for (const PortView::Port& port : ports.ports) state.ports.push_back(to_port_state(port));
        state.inputs = lines_->counts.inputs.load();
        state.lost_inputs = lines_->counts.lost_inputs.load();
        state.latest_wake_ns = lines_->counts.latest_wake_ns.load();
        return state;
    }
    bool command(Command command, std::uint8_t argument) override
    {
        const bool taken = lines_->from_service.push(command_input(lines_->clock.now(), command, argument));
        lines_->engine_wake.ring();
        return taken;
    }

private:
    template <std::size_t N> static std::string name_of(const std::array<char, N>& characters)
    {
        const std::string_view all{characters.data(), N};
        return std::string{all.substr(0, all.find('\0'))};
    }

    std::span<const Input> script() const { return wish_.script ? std::span<const Input>{*wish_.script} : std::span<const Input>{}; }

    void start_takes()
    {
        TakeWish takes{wish_.take_folder, wish_.settings.take.silence, wish_.script.has_value(), wish_.settings.player};
        takes.journal = JournalHead{std::time(nullptr), Time{-1}, build_id(), std::string{version}, texts_of(wish_.settings)};
        takes.quota = {wish_.settings.take.keep_at_most, wish_.settings.take.megabytes_at_most};
        takes.left_over = std::move(wish_.left_over);
        takes_.emplace(std::move(takes), *lines_);
        if (!wish_.take_folder.empty() && takes_->problem().empty()) spdlog::info("takes are kept in {}", wish_.take_folder.string());
    }

    // A file can be played without any MIDI system; everything else needs what the configuration calls needed.
    int look_for_what_is_needed()
    {
        const std::int64_t until = monotonic_ns() + first_look.ns;
        PortView view = keeper_.view();
        while (!view.looked && monotonic_ns() < until) {
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
            view = keeper_.view();
        }
        if (view.missing.empty()) return exit_fine;
        if (wish_.script && view.system == "none") return exit_fine;
        spdlog::error("needed and not there: {} (MIDI system: {}); see `bowarmd ports`, or set optional = true to wait",
                      joined(view.missing), view.system);
        return exit_unavailable;
    }

    void wait_for_signal()
    {
        signals_.async_wait([this](const boost::system::error_code& trouble, int signal) {
            if (trouble) return;
            if (signal == SIGHUP) {
                spdlog::warn("reload is not done while running; restart the service to read the configuration again");
                wait_for_signal();
                return;
            }
            spdlog::info("told to stop by signal {}", signal);
            io_.stop();
        });
    }

    // The engine rings when the script has been played.
    void wait_for_engine_news()
    {
        engine_news_.async_wait(boost::asio::posix::stream_descriptor::wait_read, [this](const boost::system::error_code& trouble) {
            if (trouble) return;
            lines_->service_wake.clear();
            if (lines_->counts.script_over.load() && !over_said_) end_of_script();
            wait_for_engine_news();
        });
    }

    void end_of_script()
    {
        over_said_ = true;
        progress_.end();
        takes_->session_over();
        if (!wish_.stay) {
            spdlog::info("the file has been played");
            io_.stop();
        } else {
            spdlog::info("the file has been played; staying");
        }
    }

    void wait_for_tick()
    {
        tick_.expires_after(std::chrono::seconds(1));
        tick_.async_wait([this](const boost::system::error_code& trouble) {
            if (trouble) return;
            look_after_threads();
            say_priority_once();
            if (wish_.script && !over_said_) progress_.show(lines_->clock.now(), snapshot(0));
            wait_for_tick();
        });
    }

    void look_after_threads()
    {
        const int abandoned = keeper_.abandon_stuck_senders();
        if (abandoned > abandoned_) spdlog::error("a send did not come back for a quarter of a second: its port was given up");
        abandoned_ = abandoned;
        const bool hangs = keeper_.busy_for() > keeper_hangs_after;
        if (hangs) spdlog::error("the MIDI system has not answered for {} s", keeper_.busy_for().ns / 1'000'000'000);
        if (abandoned < 2 && !hangs) return;
        spdlog::error("ending, so that the service manager can start afresh");
        code_ = exit_unavailable;
        io_.stop();
    }

    void say_priority_once()
    {
        const int priority = lines_->counts.real_time_priority.load();
        if (priority_said_ || priority < 0) return;
        priority_said_ = true;
        if (priority > 0) {
            spdlog::info("the engine runs with real-time priority {}", priority);
        } else {
            spdlog::info("no real-time priority for the engine: it runs all the same; see limits.conf(5), rtprio, for steadier timing");
        }
    }

    // Silence first, then the files, then whatever the MIDI system makes of being left.
    int close_down()
    {
        progress_.end();
        if (lines_->counts.real_time_priority.load() >= 0) {
            if (!over_said_) command(Command::panic, 0);
            engine_.caught_up(milliseconds(200));
        }
        const bool closed = keeper_.finish(closing_at_most);
        engine_.stop();
        const bool kept = takes_->finish();
        status_.reset();
        if (!kept && code_ == exit_fine) code_ = exit_input_output;
        if (!closed) {
            spdlog::warn("the MIDI system does not let go; leaving it behind");
            spdlog::default_logger()->flush();
            // A thread inside the MIDI library may never come back, and would use what a return destroys.
            ::_exit(code_);
        }
        return code_;
    }

    ServiceWish wish_;
    std::shared_ptr<Lines> lines_;
    std::int64_t started_ns_;
    EngineThread engine_;
    PortKeeper keeper_;
    std::optional<TakeWriter> takes_;
    boost::asio::io_context io_;
    boost::asio::signal_set signals_;
    boost::asio::steady_timer tick_;
    boost::asio::posix::stream_descriptor engine_news_;
    std::optional<StatusServer> status_;
    Snapshot snapshot_;
    Progress progress_;
    int code_{exit_fine};
    int abandoned_{0};
    bool over_said_{false};
    bool priority_said_{false};
};

Service::Service(ServiceWish wish) : house_(std::make_unique<House>(std::move(wish))) {}
Service::~Service() = default;
int Service::run() { return house_->run(); }

} // namespace bowarm
