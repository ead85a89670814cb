#include "midi/file_order.hpp"

#include <algorithm>
#include <array>
#include <span>

namespace bowarm
{

namespace
{

enum class Place : std::uint8_t { before_notes, note_on, after_notes };

struct Placed {
    Place place{Place::before_notes};
    std::uint8_t pitch{0};
    FileEvent event;
};

// How many notes of every key of every channel are sounding.
class SoundingKeys
{
public:
    struct Key {
        std::int64_t from_before{0}; // begun at an earlier tick and not ended
        std::int64_t from_now{0};
    };
    Key& of(const Message& m) { return keys_[static_cast<std::size_t>(m.channel().get()) * 128 + m.first().get()]; }

private:
    std::array<Key, 16 * 128> keys_{};
};

Place place_of(const FileEvent& event, SoundingKeys& sounding)
{
    const Message* message = event.message();
    if (message == nullptr) return Place::before_notes;
    if (message->is_note_on()) {
        ++sounding.of(*message).from_now;
        return Place::note_on;
    }
    if (!message->is_note_off()) return Place::before_notes;
    auto& key = sounding.of(*message);
    if (key.from_before > 0) {
        --key.from_before;
        return Place::before_notes;
    }
    return key.from_now > 0 ? Place::after_notes : Place::before_notes;
}

// The notes of this tick become notes from before, less those that ended at once.
void end_tick(std::span<const Placed> placed, SoundingKeys& sounding)
{
    for (const Placed& p : placed) {
        if (p.place != Place::after_notes) continue;
        auto& key = sounding.of(*p.event.message());
        if (key.from_now > 0) --key.from_now;
    }
    for (const Placed& p : placed) {
        if (p.place != Place::note_on) continue;
        auto& key = sounding.of(*p.event.message());
        key.from_before += key.from_now;
        key.from_now = 0;
    }
}

void order_tick(std::span<FileEvent> events, SoundingKeys& sounding, std::vector<Placed>& placed)
{
    placed.clear();
    for (const FileEvent& event : events) {
        const Place place = place_of(event, sounding);
        placed.push_back({place, place == Place::note_on ? event.message()->first().get() : std::uint8_t{0}, event});
    }
    end_tick(placed, sounding);
    std::stable_sort(placed.begin(), placed.end(),
                     [](const Placed& a, const Placed& b) { return a.place != b.place ? a.place < b.place : a.pitch < b.pitch; });
    std::transform(placed.begin(), placed.end(), events.begin(), [](const Placed& p) { return p.event; });
}

} // namespace

void put_in_file_order(std::vector<FileEvent>& events)
{
    std::stable_sort(events.begin(), events.end(), [](const FileEvent& a, const FileEvent& b) { return a.tick < b.tick; });
    SoundingKeys sounding;
    std::vector<Placed> placed;
    for (std::size_t first = 0; first < events.size();) {
        std::size_t last = first;
        while (last < events.size() && events[last].tick == events[first].tick) ++last;
        order_tick(std::span{events}.subspan(first, last - first), sounding, placed);
        first = last;
    }
}

} // namespace bowarm
