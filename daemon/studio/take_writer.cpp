#include "studio/take_writer.hpp"

#include "midi/ports/monotonic.hpp"
#include "studio/take_folder.hpp"
#include "studio/take_keys.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <bit>
#include <ctime>
#include <system_error>

namespace bowarm
{
namespace
{

constexpr std::int64_t second_ns = 1'000'000'000;
constexpr std::int64_t look_again_ms = 100; // while something is played
constexpr std::int64_t try_again_after_ns = 30 * second_ns;

std::uint64_t size_of(const TakeItem& item)
{
    const auto players = static_cast<std::uint64_t>(std::popcount(item.players));
    if (std::holds_alternative<Input>(item.what)) return sizeof(Input) * players;
    if (std::holds_alternative<Fact>(item.what)) return sizeof(Fact);
    if (std::holds_alternative<Decision>(item.what)) return sizeof(Decision);
    return sizeof(SentMessage) * std::max<std::uint64_t>(2, std::get<OutItem>(item.what).count);
}

// Clocks and the like are no part of the music, and a file has no place for them.
bool is_system_message(const TakeEvent& what)
{
    const auto* input = std::get_if<Input>(&what);
    return input != nullptr && input->kind == InputKind::midi && as_message(*input).kind() == MessageKind::system;
}

// MIDI 1.0, channel mode messages: all sound off, all notes off, and the four that imply it.
bool ends_all_notes(const Message& message)
{
    const int number = message.first().get();
    return message.kind() == MessageKind::control_change && (number == 120 || number >= 123);
}

} // namespace

TakeWriter::TakeWriter(TakeWish wish, Lines& lines)
    : wish_(std::move(wish)), lines_(lines), controls_(wish_.players.front().controls), again_(lines), takes_(wish_.players.size()),
      recording_(wish_.whole_session), stem_(take_stem(std::time(nullptr))), whole_session_(wish_.whole_session)
{
    if (!wish_.folder.empty()) {
        try {
            prepare_take_folder(wish_.folder);
        } catch (const std::system_error& trouble) {
            say(unkept_, cannot_be_kept(wish_.folder.string(), trouble.code()));
        }
    }
    if (!wish_.folder.empty() && wish_.journal) journal_.emplace(wish_.folder, *wish_.journal, lines_);
    if (recording_ && !wish_.folder.empty()) running_stem_ = stem_;
    thread_ = std::thread{[this] { run(); }};
}

TakeWriter::~TakeWriter() { finish(); }

bool TakeWriter::finish()
{
    if (thread_.joinable()) {
        finishing_.store(true, std::memory_order_release);
        lines_.take.bell.ring();
        thread_.join();
        if (journal_) journal_->finish(take_lost_);
    }
    return !take_lost_ && missing_ == 0 && (!journal_ || journal_->missing() == 0);
}

std::string TakeWriter::problem() const
{
    std::string all;
    const auto add = [&all](const std::string& text) { all += (all.empty() || text.empty() ? "" : "; ") + text; };
    {
        const std::lock_guard lock{mutex_};
        add(unkept_);
        add(gaps_);
    }
    if (!journal_) return all;
    if (const std::string journal = journal_->problem(); all.find(journal) == std::string::npos) add(journal);
    if (const std::uint64_t missing = journal_->missing(); missing != 0)
        add(std::to_string(missing) + " events are missing from the journal: the take is incomplete");
    return all;
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
    finish_left_over();
    while (true) {
        const bool last = finishing_.load(std::memory_order_acquire);
        const bool came = drain();
        if (last) break;
        if (is_over()) close_take();
        again_.feed();
        if (came || again_.running())
            lines_.take.bell.rest(look_again_ms);
        else
            lines_.take.bell.doze(over_in_ms(), [this] { return !lines_.take.waiting(); });
    }
    try_again_ns_ = 0;
    close_take();
}

// True when there was something.
bool TakeWriter::drain()
{
    bool came = false;
    for (TakeItem item; lines_.take.pop(item); came = true) keep(item);
    if (const std::uint64_t lost = lines_.take.lost.exchange(0); lost != 0) {
        missing_ += lost;
        keys_down_.reset(); // a key that came up unseen must not keep the take open for ever
        say(gaps_, std::to_string(missing_) + " events are missing from the takes: the disk or the machine did not keep up; bowarmd takes "
                                              "export writes what the journal has");
    }
    return came;
}

void TakeWriter::keep(const TakeItem& item)
{
    const auto* input = std::get_if<Input>(&item.what);
    if (input != nullptr) hear(*input);
    if (again_.running()) return; // what is heard again is no new take
    if (wish_.folder.empty() || is_system_message(item.what)) return;
    if (!recording_) {
        if (input == nullptr || !begins_a_take(*input)) return; // commands alone do not make music
        begin_take(input->at);
    }
    if (kept_bytes_ + size_of(item) > wish_.bytes_at_most) {
        ++missing_;
        const std::lock_guard lock{mutex_};
        if (gaps_.empty()) spdlog::error("the take has filled the memory that it may have; what comes now is not kept");
        gaps_ = std::to_string(missing_) + " events are missing from the takes: the memory for a take is full";
        return;
    }
    kept_bytes_ += size_of(item);
    if (input != nullptr) last_input_ = input->at;
    for (std::size_t i = 0; i < takes_.size(); ++i)
        if ((item.players & only(i)) != 0) keep(item.what, takes_[i]);
}

void TakeWriter::keep(const TakeEvent& what, Recorder& take)
{
    if (const auto* input = std::get_if<Input>(&what)) {
        take.input(*input);
    } else if (const auto* fact = std::get_if<Fact>(&what)) {
        take.fact(*fact);
    } else if (const auto* d = std::get_if<Decision>(&what)) {
        take.decided(d->at, d->note, d->needs, d->direction, d->retake);
    } else if (const auto& out = std::get<OutItem>(what); out.count == 0) {
        take.curve(out.at, out.controller, out.value);
    } else {
        take.bundle(out.at, {out.messages.data(), out.count});
    }
}

void TakeWriter::begin_take(Time origin)
{
    for (Recorder& take : takes_) take.begin_at(origin);
    origin_ = last_input_ = origin;
    recording_ = true;
    stem_ = take_stem(std::time(nullptr));
    last_note_ns_ = monotonic_ns();
    const std::lock_guard lock{mutex_};
    running_stem_ = stem_;
}

bool TakeWriter::is_empty() const
{
    return std::all_of(takes_.begin(), takes_.end(), [](const Recorder& take) { return take.empty(); });
}

// What ends a take does so before the input counts.
void TakeWriter::hear(const Input& input)
{
    const bool went_back = input.source.number < songs_.size() && songs_[input.source.number].went_back(input);
    if (again_.running() && stops_a_hearing(input)) again_.stop();
    if (input.source == source_again) return;
    const TakeAction action = controls_.heard(input);
    if (action == TakeAction::hear) {
        hear_the_last(input.at);
    } else if (action != TakeAction::none) {
        obey(action);
    } else if (went_back && has_notes_) {
        const bool by_hand = by_hand_;
        close_take(); // each pass of a cycle is a take of its own
        by_hand_ = by_hand;
    } else if (input.kind == InputKind::configured) {
        close_take();
        take_new_players();
    } else {
        watch_keys(input);
    }
    running_.store(recording_ && has_notes_, std::memory_order_relaxed);
}

void TakeWriter::take_new_players()
{
    const std::lock_guard lock{mutex_};
    if (players_.empty()) return;
    wish_.players = std::move(players_.front().players);
    takes_.resize(wish_.players.size()); // what could not be written stays where there is room for it
    wish_.silence = players_.front().silence;
    wish_.quota = players_.front().quota;
    controls_ = TakeControls{wish_.players.front().controls};
    players_.pop_front();
}

// Only notes make a take last: a pedal or a clock may go on for ever.
void TakeWriter::watch_keys(const Input& input)
{
    const bool panic = input.kind == InputKind::command && static_cast<Command>(input.data[0]) == Command::panic;
    if (input.kind == InputKind::port_lost || input.kind == InputKind::gap || panic) keys_down_.reset();
    if (input.kind != InputKind::midi) return;
    const Message message = as_message(input);
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

// Empty: not by waiting alone.
std::optional<std::int64_t> TakeWriter::over_at_ns() const
{
    if (whole_session_.load(std::memory_order_acquire) || !recording_ || by_hand_ || keys_down_.any()) return std::nullopt;
    const bool long_enough = kept_bytes_ > wish_.bytes_at_most / 4; // then the next moment without a key down will do
    return std::max(try_again_ns_, long_enough ? 0 : last_note_ns_ + to_duration(wish_.silence).ns);
}

bool TakeWriter::is_over() const
{
    const auto at_ns = over_at_ns();
    return at_ns && monotonic_ns() >= *at_ns;
}

std::optional<std::int64_t> TakeWriter::over_in_ms() const
{
    const auto at_ns = over_at_ns();
    if (!at_ns) return std::nullopt;
    return std::max<std::int64_t>(0, *at_ns - monotonic_ns()) / 1'000'000 + 1;
}

void TakeWriter::close_take()
{
    const bool worth_keeping = recording_ && (has_notes_ || wish_.whole_session) && !is_empty() && !wish_.folder.empty();
    if (worth_keeping) {
        take_lost_ = !write_files();
        if (take_lost_) {
            try_again_ns_ = monotonic_ns() + try_again_after_ns;
            return;
        }
    }
    for (Recorder& take : takes_) take.clear();
    recording_ = false;
    by_hand_ = false;
    keep_this_ = false;
    running_.store(false, std::memory_order_relaxed);
    has_notes_ = false;
    kept_bytes_ = 0;
    try_again_ns_ = 0;
    // So that the next take, too, begins with all that its target has to know.
    lines_.wants_state.store(true, std::memory_order_release);
    lines_.engine_wake.ring();
}

bool TakeWriter::write_files()
{
    std::string stem;
    try {
        prepare_take_folder(wish_.folder);
        stem = free_stem(wish_.folder, stem_);
        std::vector<PlayersTake> parts;
        for (std::size_t i = 0; i < takes_.size(); ++i) parts.push_back({takes_[i], wish_.players[i]});
        write_take_files(wish_.folder, stem, parts);
        if (keep_this_) keep_take(wish_.folder, stem);
    } catch (const std::system_error& trouble) {
        say(unkept_, cannot_be_kept(wish_.folder.string(), trouble.code()));
        return false;
    } catch (const std::exception& trouble) {
        say(unkept_, std::string{"the take cannot be kept: "} + trouble.what() + "; please report it");
        return false;
    }
    say(unkept_, {});
    const TakeFiles files = files_named(wish_.folder, stem);
    spdlog::info("take kept: {}, {} and {}", files.sent.string(), files.played.filename().string(), files.report.filename().string());
    if (journal_) {
        journal_->close_take({origin_, last_input_}, files.journal);
        // What is pruned has to be whole; a disk that stands still is not waited for.
        journal_->all_closed(milliseconds(500));
    }
    {
        const std::lock_guard lock{mutex_};
        last_stem_ = stem;
    }
    made_.push_back(stem);
    prune();
    return true;
}

void TakeWriter::prune()
{
    try {
        for (const std::string& stem : prune_takes(wish_.folder, wish_.quota, made_)) {
            spdlog::info("the oldest take makes room: {} was deleted", stem);
            std::erase(made_, stem);
        }
    } catch (const std::system_error& trouble) {
        spdlog::warn("an old take cannot be deleted: {}", trouble.what());
    }
}

// What a crash left behind becomes takes, before any new one.
void TakeWriter::finish_left_over()
{
    for (const LeftOverTake& left : wish_.left_over) {
        try {
            const std::string stem = finish_left_over_take(wish_.folder, left);
            if (!stem.empty()) spdlog::info("a take that was cut off is finished: {}", files_named(wish_.folder, stem).sent.string());
        } catch (const std::exception& trouble) {
            spdlog::error("{}: what was played cannot be made a take: {}; try bowarmd recover", left.journal->path().string(),
                          trouble.what());
        }
    }
    wish_.left_over.clear();
}

void TakeWriter::obey(TakeAction action)
{
    const bool running = recording_ && has_notes_;
    if (action == TakeAction::keep) return keep_that_one();
    const bool begins = action == TakeAction::begin || (action == TakeAction::begin_or_end && !running && !by_hand_);
    close_take();
    by_hand_ = begins;
}

// The take that runs; before its first note, the one before it.
void TakeWriter::keep_that_one()
{
    if (recording_ && has_notes_) {
        keep_this_ = true;
        return;
    }
    std::string stem;
    {
        const std::lock_guard lock{mutex_};
        stem = last_stem_;
    }
    if (stem.empty()) return spdlog::warn("there is no take to keep yet");
    try {
        keep_take(wish_.folder, stem);
        spdlog::info("take {} stays for good", stem);
    } catch (const std::system_error& trouble) {
        spdlog::error("take {} cannot be marked: {}", stem, trouble.what());
    }
}

// The one that runs ends first.  The key that stops a hearing does not begin another.
void TakeWriter::hear_the_last(Time asked)
{
    if (lines_.hearing_stopped_by.load(std::memory_order_acquire) == asked.ns) return;
    close_take();
    const auto take = take_called(wish_.folder, "last");
    if (!take || !take->has_journal) return spdlog::warn("there is no take to hear yet");
    try {
        const Journal journal = read_journal(bytes_of_file(files_named(wish_.folder, take->stem).journal));
        const auto span = span_of(journal, to_duration(wish_.silence));
        if (!span) return spdlog::warn("take {} has nothing to hear", take->stem);
        again_.begin(journal, *span, controls_.controls());
        again_.feed();
        spdlog::info("take {} is heard again: the arm off, then on; a key ends it", take->stem);
    } catch (const std::system_error& trouble) {
        spdlog::error("take {} cannot be heard: {}", take->stem, trouble.what());
    }
}

TakeState TakeWriter::state() const
{
    const std::lock_guard lock{mutex_};
    const bool running = running_.load();
    return {running, last_stem_, running ? running_stem_ : std::string{}};
}

void TakeWriter::configured(std::vector<PlayerConfig> players, ConfigurationTexts texts, Seconds silence, Quota quota)
{
    if (journal_) journal_->configured(std::move(texts));
    const std::lock_guard lock{mutex_};
    players_.push_back({std::move(players), silence, quota});
}

void TakeWriter::withdraw_configured()
{
    if (journal_) journal_->withdraw_configured();
    const std::lock_guard lock{mutex_};
    if (!players_.empty()) players_.pop_back();
}

} // namespace bowarm
