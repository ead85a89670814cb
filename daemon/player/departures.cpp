#include "player/departures.hpp"

namespace bowarm
{
namespace
{

// Where two notes would change places, or a note be struck before the one before it has ended.  Our own numbers.
constexpr Duration between_notes = milliseconds(10);
constexpr Duration before_a_note = milliseconds(1);

constexpr Time later(Time a, Time b) { return a < b ? b : a; }
constexpr Duration at_most(Duration d, Duration most) { return most < d ? most : d; }

} // namespace

Departures::Departures(Duration ahead, const TargetSpec& target)
    : ahead_(ahead), lead_(to_duration(target.switch_lead)), switches_(target), items_(items_at_most), moved_(KeysDown::count)
{
}

void Departures::bundle(Time at, std::span<const Message> messages, std::optional<Seconds> speaks, Sink& sink) noexcept
{
    now_ = later(now_, at);
    if (silences(messages)) {
        silence(at, messages, sink);
        return;
    }
    Item newest;
    newest.at = at;
    newest.begins = speaks.has_value();
    for (const Message& m : messages) newest.bundle.push_back(m);
    if (speaks) {
        newest.leaves = at + ahead_ - at_most(to_duration(*speaks), ahead_);
        if (note_before_) newest.leaves = later(newest.leaves, note_before_->leaves + at_most(at - note_before_->at, between_notes));
        newest.leaves = later(newest.leaves, now_);
    } else {
        newest.leaves = end_leaves(at, messages);
    }
    if (speaks && lead_ > Duration{0}) send_ahead(newest, sink);
    add(newest, sink);
    if (!speaks) return;
    note_before_ = {at, newest.leaves};
    for (const Message& m : messages)
        if (m.is_note_on()) moved(m) = *note_before_;
}

// The switches of a note leave as items of their own.
void Departures::send_ahead(Item& note, Sink& sink) noexcept
{
    Item switches;
    switches.at = note.at;
    switches.leaves = later(note.leaves - lead_, floor());
    Bundle rest;
    for (const Message& m : note.bundle) (switches_.has(m) ? switches.bundle : rest).push_back(m);
    if (switches.bundle.empty()) return;
    note.bundle = rest;
    insert(switches, sink);
}

// In the order of leaving, behind the note that began last.
void Departures::insert(const Item& item, Sink& sink) noexcept
{
    if (count_ == items_at_most) leave_first(now_, sink);
    std::size_t place = count_++;
    for (; place > 0; --place) {
        const Item& before = items_[(first_ + place - 1) % items_at_most];
        if (before.begins || before.leaves <= item.leaves) break;
        items_[(first_ + place) % items_at_most] = before;
    }
    items_[(first_ + place) % items_at_most] = item;
}

void Departures::curve(Time at, Controller controller, int value, Sink& sink) noexcept
{
    now_ = later(now_, at);
    Item newest;
    newest.at = at;
    newest.leaves = at + ahead_;
    newest.controller = controller;
    newest.value = value;
    add(newest, sink);
}

// An end goes as far as its note went; of several, as far as the one that moved least.
Time Departures::end_leaves(Time at, std::span<const Message> messages) const noexcept
{
    Time leaves = at + ahead_;
    Duration least = ahead_;
    bool ends = false;
    for (const Message& m : messages) {
        if (!m.is_note_off()) continue;
        const Moved& note = moved(m);
        least = at_most(note.at + ahead_ - note.leaves, least);
        ends = true;
    }
    if (ends) leaves = leaves - least;
    for (const Message& m : messages)
        if (m.is_note_off()) leaves = later(leaves, moved(m).leaves + at_most(at - moved(m).at, between_notes));
    return leaves;
}

void Departures::add(const Item& newest, Sink& sink) noexcept
{
    if (count_ == items_at_most) leave_first(now_, sink);
    Item& last = items_[(first_ + count_) % items_at_most];
    last = newest;
    last.leaves = later(last.leaves, floor());
    if (!last.controller) pull_before(last);
    ++count_;
}

// Nothing leaves before now, nor before the note that began last.
Time Departures::floor() const noexcept { return note_before_ ? later(now_, note_before_->leaves) : now_; }

// What belongs before the newest leaves before it, as far back as the note before.
void Departures::pull_before(const Item& newest) noexcept
{
    Time limit = newest.leaves;
    Time followed_at = newest.at;
    FixedVector<Controller, curves_at_most> newer;
    for (std::size_t i = count_; i > 0; --i) {
        Item& old = items_[(first_ + i - 1) % items_at_most];
        if (old.begins) return;
        if (!old.controller && newest.begins) limit = limit - at_most(followed_at - old.at, before_a_note);
        if (old.leaves <= limit) return;
        old.leaves = later(limit, floor());
        followed_at = old.at;
        if (!old.controller) {
            newer.clear();
            continue;
        }
        for (const Controller& c : newer) old.stale = old.stale || c == *old.controller;
        if (!old.stale) newer.push_back(*old.controller);
    }
}

void Departures::silence(Time at, std::span<const Message> messages, Sink& sink) noexcept
{
    while (count_ > 0) {
        Item& waited = items_[first_];
        keep_ends(waited.bundle);
        waited.stale = true;
        leave_first(at, sink);
    }
    note_before_.reset();
    Item& last = items_[first_];
    last = {};
    for (const Message& m : messages) last.bundle.push_back(m);
    ++count_;
    leave_first(at, sink);
}

void Departures::wake(Time at, Sink& sink) noexcept
{
    now_ = later(now_, at);
    while (count_ > 0 && items_[first_].leaves <= at) leave_first(at, sink);
}

void Departures::leave_first(Time at, Sink& sink) noexcept
{
    const Item& oldest = items_[first_];
    first_ = (first_ + 1) % items_at_most;
    --count_;
    if (oldest.controller) {
        if (!oldest.stale) sink.curve(at, *oldest.controller, oldest.value);
        return;
    }
    Bundle bundle;
    for (const Message& m : oldest.bundle)
        if (keys_.leaves(m)) bundle.push_back(m);
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
}

} // namespace bowarm
