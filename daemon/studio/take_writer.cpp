#include "studio/take_writer.hpp"

#include "midi/ports/monotonic.hpp"

#include <spdlog/spdlog.h>

#include <array>
#include <cerrno>
#include <ctime>
#include <poll.h>
#include <string_view>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

constexpr std::int64_t second_ns = 1'000'000'000;
constexpr std::int64_t try_again_after_ns = 30 * second_ns;

struct TakeFiles {
    fs::path sent, played, report;
};

TakeFiles files_named(const fs::path& folder, const std::string& stem)
{
    return {folder / (stem + ".mid"), folder / (stem + "-played.mid"), folder / (stem + ".json")};
}

std::string local_stem()
{
    const std::time_t now = std::time(nullptr);
    std::tm parts{};
    ::localtime_r(&now, &parts);
    std::array<char, 40> text{};
    std::strftime(text.data(), text.size(), "take-%Y%m%d-%H%M%S", &parts);
    return text.data();
}

// Names that nobody has: an earlier take is never overwritten.
TakeFiles free_names(const fs::path& folder)
{
    const std::string stem = local_stem();
    TakeFiles files = files_named(folder, stem);
    for (int n = 2; fs::exists(files.sent) || fs::exists(files.played) || fs::exists(files.report); ++n)
        files = files_named(folder, stem + "-" + std::to_string(n));
    return files;
}

std::string_view text_of(const auto& characters)
{
    const std::string_view all{characters.data(), characters.size()};
    return all.substr(0, all.find('\0'));
}

std::string cannot_be_kept(const std::exception& trouble)
{
    return std::string{"the take cannot be kept: "} + trouble.what() + "; name another folder with --takes";
}

std::span<const std::uint8_t> bytes_of(const std::string& text)
{
    return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

} // namespace

void prepare_take_folder(const fs::path& folder)
{
    if (!fs::exists(folder)) {
        fs::create_directories(folder);
        fs::permissions(folder, fs::perms::owner_all);
    }
    if (!fs::is_directory(folder)) throw std::system_error(ENOTDIR, std::generic_category(), folder.string());
    if (::access(folder.c_str(), W_OK | X_OK) != 0) throw std::system_error(errno, std::generic_category(), folder.string());
}

TakeWriter::TakeWriter(TakeWish wish, Lines& lines)
    : wish_(std::move(wish)), lines_(lines), recording_(wish_.whole_session), whole_session_(wish_.whole_session)
{
    if (!wish_.folder.empty()) {
        try {
            prepare_take_folder(wish_.folder);
        } catch (const std::system_error& trouble) {
            set_problem(cannot_be_kept(trouble));
        }
    }
    thread_ = std::thread{[this] { run(); }};
}

TakeWriter::~TakeWriter() { finish(); }

bool TakeWriter::finish()
{
    if (thread_.joinable()) {
        finishing_.store(true, std::memory_order_release);
        lines_.take.wake.ring();
        thread_.join();
    }
    return problem().empty();
}

std::string TakeWriter::problem() const
{
    const std::lock_guard lock{mutex_};
    return problem_;
}

void TakeWriter::set_problem(std::string text)
{
    if (!text.empty()) spdlog::error("{}; playing goes on", text);
    const std::lock_guard lock{mutex_};
    problem_ = std::move(text);
}

void TakeWriter::run()
{
    while (true) {
        const bool last = finishing_.load(std::memory_order_acquire);
        drain();
        if (last) break;
        if (is_over()) close_take();
        pollfd bell{lines_.take.wake.descriptor(), POLLIN, 0};
        ::poll(&bell, 1, 1000);
        lines_.take.wake.clear();
    }
    try_again_ns_ = 0;
    close_take();
}

void TakeWriter::drain()
{
    TakeItem item;
    while (lines_.take.pop(item)) keep(item);
    if (const std::uint64_t lost = lines_.take.lost.exchange(0); lost != 0)
        set_problem(std::to_string(lost) + " events are missing from the take: the machine was too busy to keep them");
}

void TakeWriter::keep(const TakeItem& item)
{
    if (const auto* input = std::get_if<Input>(&item)) watch_keys(*input);
    if (wish_.folder.empty()) return;
    if (!recording_) {
        if (!begins_a_take(item)) return;
        take_.begin_at(std::get<Input>(item).at);
        recording_ = true;
    }
    if (const auto* input = std::get_if<Input>(&item)) {
        take_.input(*input);
    } else if (const auto* fact = std::get_if<Fact>(&item)) {
        take_.fact(*fact);
    } else if (const auto& out = std::get<OutItem>(item); out.count == 0) {
        take_.curve(out.at, out.controller, out.value);
    } else {
        take_.bundle(out.at, {out.messages.data(), out.count});
    }
}

// Commands alone do not make music.
bool TakeWriter::begins_a_take(const TakeItem& item) const
{
    const auto* input = std::get_if<Input>(&item);
    return input != nullptr && (input->kind == InputKind::midi || input->kind == InputKind::tempo || input->kind == InputKind::meter);
}

void TakeWriter::watch_keys(const Input& input)
{
    if (input.kind == InputKind::port_lost || input.kind == InputKind::gap) keys_down_.reset();
    if (input.kind != InputKind::midi) return;
    const Message message{{input.data[0], input.data[1], input.data[2]}, input.data[7]};
    const std::size_t key = message.channel().get() * 128U + message.first().get();
    if (message.is_note_on()) {
        keys_down_.set(key);
        has_notes_ = true;
    } else if (message.is_note_off()) {
        keys_down_.reset(key);
    } else if (has_notes_) {
        return;
    }
    last_note_ns_ = monotonic_ns();
}

bool TakeWriter::is_over() const
{
    if (whole_session_.load(std::memory_order_acquire) || !recording_ || keys_down_.any()) return false;
    const std::int64_t now = monotonic_ns();
    return now - last_note_ns_ > to_duration(wish_.silence).ns && now >= try_again_ns_;
}

void TakeWriter::close_take()
{
    const bool worth_keeping = recording_ && (has_notes_ || wish_.whole_session) && !take_.empty() && !wish_.folder.empty();
    if (worth_keeping) {
        try {
            write_files();
            set_problem({});
        } catch (const std::exception& trouble) {
            set_problem(cannot_be_kept(trouble));
            try_again_ns_ = monotonic_ns() + try_again_after_ns;
            return;
        }
    }
    take_.clear();
    recording_ = false;
    has_notes_ = false;
    // So that the next take, too, begins with all that its target has to know.
    lines_.wants_state.store(true, std::memory_order_release);
    lines_.engine_wake.ring();
}

void TakeWriter::write_files()
{
    prepare_take_folder(wish_.folder);
    const TakeFiles files = free_names(wish_.folder);
    write_whole_file(files.sent, sent_as_midi_file(take_));
    write_whole_file(files.played, played_as_midi_file(take_));
    const auto& strings = wish_.player.instrument.strings;
    const std::string report = report_json(
        take_, {text_of(wish_.player.instrument.name), text_of(wish_.player.target.name), "live", {strings.data(), strings.size()}});
    write_whole_file(files.report, bytes_of(report));
    spdlog::info("take kept: {}, {} and {}", files.sent.string(), files.played.filename().string(), files.report.filename().string());
}

} // namespace bowarm
