#include "studio/journal_writer.hpp"

#include "midi/ports/monotonic.hpp"
#include "studio/take_folder.hpp"
#include "take/sync_folder.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <ctime>
#include <system_error>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;
using std::chrono::milliseconds;

constexpr auto between_writes = milliseconds(100);
constexpr auto between_syncs = milliseconds(1000);
constexpr std::int64_t open_again_after_ns = 2'000'000'000;

// What the players lived through: everything but heads and ends; behind a new configuration, what the new ones did.
JournalBytes past_in(const Journal& journal, std::uintmax_t at_most)
{
    JournalBytes past;
    const Time last = journal.inputs.empty() ? Time{} : journal.inputs.back().at;
    const Time began = player_began(journal, {last, last});
    const bool renewed = !journal.new_texts.empty();
    for (const JournalGap& gap : journal.gaps)
        if (!renewed || gap.at >= began) append_record(past, gap);
    std::uint64_t inputs = 0;
    for (const JournalInput& input : journal.inputs) {
        if (renewed && (input.at < began || input.kind == InputKind::configured)) continue;
        append_record(past, input);
        ++inputs;
    }
    for (const JournalCheck& check : journal.checks)
        if (check.at >= began) append_record(past, check);
    if (past.size() <= at_most) return past;
    past.clear();
    append_record(past, JournalGap{last, inputs});
    return past;
}

} // namespace

JournalWriter::JournalWriter(fs::path folder, JournalHead head, Lines& lines, JournalLimits limits)
    : folder_(std::move(folder)), limits_(limits), head_(std::move(head)), lines_(lines)
{
    thread_ = std::thread{[this] { run(); }};
    disk_thread_ = std::thread{[this] { keep_on_disk(); }};
}

JournalWriter::~JournalWriter() { finish(); }

void JournalWriter::close_take(const TakeSpan& span, fs::path name)
{
    {
        const std::lock_guard lock{mutex_};
        closings_.push_back({span, std::move(name)});
    }
    lines_.journal.bell.ring();
}

bool JournalWriter::all_closed(Duration patience)
{
    std::unique_lock lock{mutex_};
    return closed_bell_.wait_for(lock, std::chrono::nanoseconds(patience.ns), [this] { return closings_.empty(); });
}

void JournalWriter::configured(ConfigurationTexts texts)
{
    const std::lock_guard lock{mutex_};
    texts_.push_back(std::move(texts));
}

void JournalWriter::withdraw_configured()
{
    const std::lock_guard lock{mutex_};
    if (!texts_.empty()) texts_.pop_back();
}

void JournalWriter::finish(std::optional<bool> played)
{
    if (thread_.joinable()) told_played_ = played;
    finishing_.store(true, std::memory_order_release);
    lines_.journal.bell.ring();
    if (thread_.joinable()) thread_.join();
    {
        const std::lock_guard lock{mutex_};
        ended_ = true;
    }
    disk_bell_.notify_one();
    if (disk_thread_.joinable()) disk_thread_.join();
}

std::string JournalWriter::problem() const
{
    const std::lock_guard lock{mutex_};
    return problem_;
}

// The same trouble is logged once, until it changes or ends.
void JournalWriter::say(std::string text)
{
    const std::lock_guard lock{mutex_};
    if (!text.empty() && text != problem_) spdlog::error("{}; playing goes on", text);
    if (text.empty() && !problem_.empty()) spdlog::info("the journal is written again");
    problem_ = std::move(text);
}

void JournalWriter::run()
{
    while (true) {
        const bool last = finishing_.load(std::memory_order_acquire);
        if (!file_) try_to_open();
        const bool came = drain();
        write_out();
        close_what_is_over();
        if (last) break;
        wait(came);
    }
    end_file();
}

void JournalWriter::wait(bool came)
{
    bool closing = false;
    {
        const std::lock_guard lock{mutex_};
        closing = !closings_.empty();
    }
    Doorbell& bell = lines_.journal.bell;
    if (came || closing || !pending_.empty()) return bell.rest(between_writes.count());
    std::optional<std::int64_t> open_again_ms;
    if (!file_) open_again_ms = std::max<std::int64_t>(0, open_again_ns_ - monotonic_ns()) / 1'000'000 + 1;
    bell.doze(open_again_ms, [this] { return !lines_.journal.waiting(); });
}

// Apart, so that a disk that takes its time does not keep new inputs from the system.
void JournalWriter::keep_on_disk()
{
    std::unique_lock lock{mutex_};
    while (true) {
        disk_bell_.wait(lock, [this] { return unsynced_ || ended_; });
        if (ended_) return;
        disk_bell_.wait_for(lock, between_syncs, [this] { return ended_; });
        unsynced_ = false;
        const std::shared_ptr<JournalFile> file = file_;
        lock.unlock();
        if (const int error = file ? file->sync() : 0; error != 0)
            spdlog::error("the journal may not outlive a power cut: {}: {}", file->folder().string(),
                          std::generic_category().message(error));
        lock.lock();
    }
}

// True when there was something.
bool JournalWriter::drain()
{
    bool came = false;
    for (JournalItem item; lines_.journal.pop(item); came = true) {
        if (const auto* input = std::get_if<JournalInput>(&item))
            take_in(*input);
        else
            append_record(pending_, std::get<JournalCheck>(item));
    }
    if (const std::uint64_t lost = lines_.journal.lost.exchange(0); lost != 0) {
        missing_.fetch_add(lost, std::memory_order_relaxed);
        append_record(pending_, JournalGap{latest_, lost});
    }
    return came;
}

void JournalWriter::take_in(const JournalInput& input)
{
    latest_ = input.at;
    played_ = played_ || is_key_struck(input);
    append_record(pending_, input);
    ++pending_inputs_;
    if (input.kind != InputKind::configured) return;
    const std::lock_guard lock{mutex_};
    if (texts_.empty()) return;
    append_record(pending_, NewTexts{input.at, texts_.front()});
    head_.texts = std::move(texts_.front());
    texts_.pop_front();
}

void JournalWriter::write_out()
{
    if (file_ && !pending_.empty()) {
        const int error = file_->is_there() ? file_->append(pending_) : ENOENT;
        if (error == 0) {
            pending_.clear();
            pending_inputs_ = 0;
            say({});
            const std::lock_guard lock{mutex_};
            if (!std::exchange(unsynced_, true)) disk_bell_.notify_one();
        } else {
            say(cannot_be_kept(file_->path().string(), {error, std::generic_category()}));
        }
        if (error == ENOENT) { // taken away under our hands: begin another
            forget_the_past();
            const std::lock_guard lock{mutex_};
            file_.reset();
        }
    }
    if (pending_.size() > limits_.pending_at_most) count_what_is_pending();
}

// The next file does not have what the last one had.
void JournalWriter::forget_the_past()
{
    JournalBytes gap;
    append_record(gap, JournalGap{latest_, 0});
    pending_.insert(pending_.begin(), gap.begin(), gap.end());
}

void JournalWriter::count_what_is_pending()
{
    missing_.fetch_add(pending_inputs_, std::memory_order_relaxed);
    pending_.clear();
    append_record(pending_, JournalGap{latest_, pending_inputs_});
    pending_inputs_ = 0;
}

void JournalWriter::try_to_open()
{
    if (monotonic_ns() < open_again_ns_ && !finishing_.load(std::memory_order_acquire)) return;
    open_again_ns_ = monotonic_ns() + open_again_after_ns;
    try {
        prepare_take_folder(folder_);
        auto file = std::make_shared<JournalFile>(folder_, std::time(nullptr));
        JournalBytes beginning = journal_beginning();
        append_record(beginning, head_);
        if (const int error = file->append(beginning); error != 0) {
            file->remove();
            fail_with(error, folder_);
        }
        const std::lock_guard lock{mutex_};
        file_ = std::move(file);
    } catch (const std::system_error& trouble) {
        say(cannot_be_kept(folder_.string(), trouble.code()));
    }
}

void JournalWriter::close_what_is_over()
{
    while (true) {
        Closing closing;
        {
            const std::lock_guard lock{mutex_};
            if (closings_.empty()) return;
            closing = closings_.front();
        }
        // Inputs that the take writer has seen are in the ring by now.
        drain();
        write_out();
        if (!file_ || !pending_.empty()) return; // tried again
        head_.past_until = closing.span.last;
        begin_next(closing);
        const std::lock_guard lock{mutex_};
        closings_.pop_front();
        closed_bell_.notify_all();
    }
}

// The file gets its end and its name; the next one begins with what it holds.
void JournalWriter::begin_next(const Closing& closed)
{
    try {
        JournalBytes end;
        append_record(end, closed.span);
        if (const int error = file_->append(end); error != 0) fail_with(error, file_->path());
        file_->sync_now();
        file_->rename_to(closed.name);
        const Journal written = read_journal(file_->bytes());
        JournalBytes past = past_in(written, limits_.past_at_most);
        pending_.insert(pending_.begin(), past.begin(), past.end());
        played_ = std::any_of(written.inputs.begin(), written.inputs.end(),
                              [&](const Input& input) { return input.at > closed.span.last && is_key_struck(input); });
    } catch (const std::system_error& trouble) {
        say(cannot_be_kept(closed.name.string(), trouble.code()));
        forget_the_past();
    }
    {
        const std::lock_guard lock{mutex_};
        file_.reset();
    }
    open_again_ns_ = 0;
    if (finishing_.load(std::memory_order_acquire)) {
        settle_name_in(folder_);
        return;
    }
    try_to_open(); // the next file's first sync settles this one's name, too
    write_out();
}

// No file comes after it, whose sync would do that.
void JournalWriter::settle_name_in(const fs::path& folder)
{
    try {
        sync_folder(folder);
    } catch (const std::system_error& trouble) {
        say(cannot_be_kept(folder.string(), trouble.code()));
    }
}

void JournalWriter::end_file()
{
    if (!file_) return;
    if (told_played_.value_or(played_))
        file_->sync_now();
    else
        file_->remove();
    settle_name_in(folder_);
    const std::lock_guard lock{mutex_};
    file_.reset();
}

} // namespace bowarm
