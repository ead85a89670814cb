#include "studio/take_writer.hpp"

#include "midi/ports/monotonic.hpp"
#include "player/delays.hpp"
#include "take/hindsight.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <ctime>
#include <optional>
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
TakeFiles free_names(const fs::path& folder, const std::string& stem)
{
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

// The names were free before, so whatever has them now is a part of a take that could not be kept whole.
void remove_parts(const TakeFiles& files) noexcept
{
    std::error_code ignored;
    for (const fs::path* path : {&files.sent, &files.played, &files.report}) fs::remove(*path, ignored);
}

// Path and reason in the system's own words, without the library's.
std::string cannot_be_kept(const std::string& path, const std::error_code& reason)
{
    const bool full = reason == std::errc::no_space_on_device || reason == std::error_code{EDQUOT, std::generic_category()};
    return "the take cannot be kept: " + path + ": " + reason.message() +
           (full ? "; make room there, or name another folder with --takes" : "; name another folder with --takes");
}

std::uint64_t size_of(const TakeItem& item)
{
    if (std::holds_alternative<Input>(item)) return sizeof(Input);
    if (std::holds_alternative<Fact>(item)) return sizeof(Fact);
    if (std::holds_alternative<Decision>(item)) return sizeof(Decision);
    return sizeof(SentMessage) * std::max<std::uint64_t>(2, std::get<OutItem>(item).count);
}

Message message_of(const Input& input) { return {{input.data[0], input.data[1], input.data[2]}, input.data[7]}; }

// Clocks and the like are no part of the music, and a file has no place for them.
bool is_system_message(const TakeItem& item)
{
    const auto* input = std::get_if<Input>(&item);
    return input != nullptr && input->kind == InputKind::midi && message_of(*input).kind() == MessageKind::system;
}

// MIDI 1.0, channel mode messages: all sound off, all notes off, and the four that imply it.
bool ends_all_notes(const Message& message)
{
    const int number = message.first().get();
    return message.kind() == MessageKind::control_change && (number == 120 || number >= 123);
}

std::span<const std::uint8_t> bytes_of(const std::string& text)
{
    return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

} // namespace

void prepare_take_folder(const fs::path& folder)
{
    std::error_code trouble;
    const auto fail = [&folder](std::error_code reason) { throw std::system_error(reason, folder.string()); };
    if (!fs::exists(folder, trouble)) {
        if (fs::create_directories(folder, trouble); trouble) fail(trouble);
        if (fs::permissions(folder, fs::perms::owner_all, trouble); trouble) fail(trouble);
    }
    if (!fs::is_directory(folder, trouble)) fail(std::make_error_code(std::errc::not_a_directory));
    if (::access(folder.c_str(), W_OK | X_OK) != 0) fail({errno, std::generic_category()});
}

TakeWriter::TakeWriter(TakeWish wish, Lines& lines)
    : wish_(std::move(wish)), lines_(lines), recording_(wish_.whole_session), stem_(local_stem()), whole_session_(wish_.whole_session)
{
    if (!wish_.folder.empty()) {
        try {
            prepare_take_folder(wish_.folder);
        } catch (const std::system_error& trouble) {
            say(unkept_, cannot_be_kept(wish_.folder.string(), trouble.code()));
        }
    }
    if (recording_ && !wish_.folder.empty()) running_ = stem_;
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
    return !take_lost_ && missing_ == 0;
}

std::string TakeWriter::problem() const
{
    const std::lock_guard lock{mutex_};
    return unkept_ + (unkept_.empty() || gaps_.empty() ? "" : "; ") + gaps_;
}

void TakeWriter::cut() noexcept
{
    cut_.store(true, std::memory_order_release);
    lines_.take.wake.ring();
}

std::string TakeWriter::running() const
{
    const std::lock_guard lock{mutex_};
    return running_;
}

// The same trouble is logged once, until it changes or ends.
void TakeWriter::say(std::string& place, std::string text)
{
    if (!text.empty() && text != place) spdlog::error("{}{}", text, finishing_.load(std::memory_order_acquire) ? "" : "; playing goes on");
    const std::lock_guard lock{mutex_};
    place = std::move(text);
}

void TakeWriter::run()
{
    while (true) {
        const bool last = finishing_.load(std::memory_order_acquire);
        drain();
        if (last) break;
        if (cut_.exchange(false, std::memory_order_acq_rel) || is_over()) close_take();
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
    if (const std::uint64_t lost = lines_.take.lost.exchange(0); lost != 0) {
        missing_ += lost;
        say(gaps_, std::to_string(missing_) + " events are missing from the takes: the machine was too busy to keep them");
    }
}

void TakeWriter::keep(const TakeItem& item)
{
    if (const auto* input = std::get_if<Input>(&item)) watch_keys(*input);
    if (wish_.folder.empty() || is_system_message(item)) return;
    if (!recording_) {
        if (!begins_a_take(item)) return;
        take_.begin_at(std::get<Input>(item).at);
        recording_ = true;
        stem_ = local_stem();
        last_note_ns_ = monotonic_ns();
        const std::lock_guard lock{mutex_};
        running_ = stem_;
    }
    if (kept_bytes_ + size_of(item) > wish_.bytes_at_most) {
        ++missing_;
        const std::lock_guard lock{mutex_};
        if (gaps_.empty()) spdlog::error("the take has filled the memory that it may have; what comes now is not kept");
        gaps_ = std::to_string(missing_) + " events are missing from the takes: the memory for a take is full";
        return;
    }
    kept_bytes_ += size_of(item);
    if (const auto* input = std::get_if<Input>(&item)) {
        take_.input(*input);
    } else if (const auto* fact = std::get_if<Fact>(&item)) {
        take_.fact(*fact);
    } else if (const auto* d = std::get_if<Decision>(&item)) {
        take_.decided(d->at, d->note, d->needs, d->direction, d->retake);
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

// Only notes make a take last: a pedal or a clock may go on for ever.
void TakeWriter::watch_keys(const Input& input)
{
    const bool panic = input.kind == InputKind::command && static_cast<Command>(input.data[0]) == Command::panic;
    if (input.kind == InputKind::port_lost || input.kind == InputKind::gap || panic) keys_down_.reset();
    if (input.kind != InputKind::midi) return;
    const Message message = message_of(input);
    const std::size_t channel = message.channel().get() * 128U;
    if (message.is_note_on()) {
        keys_down_.set(channel + message.first().get());
        has_notes_ = true;
    } else if (message.is_note_off()) {
        keys_down_.reset(channel + message.first().get());
    } else {
        if (ends_all_notes(message))
            for (std::size_t key = 0; key < 128; ++key) keys_down_.reset(channel + key);
        return;
    }
    last_note_ns_ = monotonic_ns();
}

bool TakeWriter::is_over() const
{
    if (whole_session_.load(std::memory_order_acquire) || !recording_ || keys_down_.any()) return false;
    const std::int64_t now = monotonic_ns();
    const bool long_enough = kept_bytes_ > wish_.bytes_at_most / 4; // then the next moment without a key down will do
    return (long_enough || now - last_note_ns_ > to_duration(wish_.silence).ns) && now >= try_again_ns_;
}

void TakeWriter::close_take()
{
    const bool worth_keeping = recording_ && (has_notes_ || wish_.whole_session) && !take_.empty() && !wish_.folder.empty();
    if (worth_keeping) {
        take_lost_ = !write_files();
        if (take_lost_) {
            try_again_ns_ = monotonic_ns() + try_again_after_ns;
            return;
        }
    }
    take_.clear();
    recording_ = false;
    {
        const std::lock_guard lock{mutex_};
        running_.clear();
    }
    has_notes_ = false;
    kept_bytes_ = 0;
    try_again_ns_ = 0;
    // So that the next take, too, begins with all that its target has to know.
    lines_.wants_state.store(true, std::memory_order_release);
    lines_.engine_wake.ring();
}

bool TakeWriter::write_files()
{
    std::optional<TakeFiles> files;
    try {
        prepare_take_folder(wish_.folder);
        files = free_names(wish_.folder, stem_);
        write_whole_file(files->sent, sent_as_midi_file(take_));
        write_whole_file(files->played, played_as_midi_file(take_));
        const auto& strings = wish_.player.instrument.strings;
        std::optional<Regret> regret; // of one bow; several at desks are not bowed again
        if (wish_.player.desks == 1) {
            const Hindsight hindsight = bow_again(wish_.player.instrument, take_);
            regret = Regret{hindsight.regret(), hindsight.differing};
        }
        const std::string report = report_json(take_, {text_of(wish_.player.instrument.name),
                                                       text_of(wish_.player.target.name),
                                                       "live",
                                                       {strings.data(), strings.size()},
                                                       regret,
                                                       std::nullopt,
                                                       delays_of(wish_.player).hold});
        write_whole_file(files->report, bytes_of(report));
    } catch (const std::system_error& trouble) {
        if (files) remove_parts(*files);
        say(unkept_, cannot_be_kept(wish_.folder.string(), trouble.code()));
        return false;
    } catch (const std::exception& trouble) {
        if (files) remove_parts(*files);
        say(unkept_, std::string{"the take cannot be kept: "} + trouble.what() + "; please report it");
        return false;
    }
    say(unkept_, {});
    spdlog::info("take kept: {}, {} and {}", files->sent.string(), files->played.filename().string(), files->report.filename().string());
    return true;
}

} // namespace bowarm
