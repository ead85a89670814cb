#include "take/replayed.hpp"

#include "take/performance.hpp"

#include <algorithm>
#include <iterator>

namespace bowarm
{
namespace
{

// Hands on to the recorder once the take has begun, and compares with the checks all the time.
class Listener final : public Sink
{
public:
    Listener(std::span<const OutputCheck> checks, Recorder& take) : checks_(checks), take_(take) {}

    void begin() { recording_ = true; }
    // Nothing that comes now was sent on the day.
    void stop_comparing() { comparing_ = false; }

    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        for (const Message& message : messages) {
            hash_.bundle(at, {&message, 1});
            compare();
        }
        if (recording_) take_.bundle(at, messages);
    }
    void curve(Time at, Controller controller, int value) noexcept override
    {
        hash_.curve(at, controller, value);
        compare();
        if (recording_) take_.curve(at, controller, value);
    }
    void fact(const Fact& fact) noexcept override
    {
        if (recording_) take_.fact(fact);
    }
    void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override
    {
        if (recording_) take_.decided(at, note, needs, direction, retake);
    }

    std::uint64_t checked() const { return agreed_.count; }
    std::optional<Difference> difference() const
    {
        if (differs_) return Difference{agreed_.at, differs_->at, {}};
        if (checks_.empty()) return std::nullopt;
        return Difference{agreed_.at, checks_.front().at, {}}; // fewer messages than on the day
    }

private:
    void compare() noexcept
    {
        if (!comparing_ || differs_) return;
        while (!checks_.empty() && checks_.front().count < hash_.now().count) checks_ = checks_.subspan(1);
        if (checks_.empty() || checks_.front().count != hash_.now().count) return;
        if (checks_.front() == hash_.now())
            agreed_ = hash_.now();
        else
            differs_ = checks_.front();
        checks_ = checks_.subspan(1);
    }

    std::span<const OutputCheck> checks_;
    Recorder& take_;
    OutputHash hash_;
    OutputCheck agreed_;
    std::optional<OutputCheck> differs_;
    bool recording_{false};
    bool comparing_{true};
};

BarPlace place_from(const Recorder& take, Time at)
{
    for (const Fact& fact : take.facts())
        if (fact.kind == FactKind::stroke_began && fact.at >= at) return fact.place;
    return {};
}

struct Parts {
    std::span<const Input> past, take;
};

Parts parts_of(const Journal& journal, const TakeSpan& span)
{
    const auto first = std::lower_bound(journal.inputs.begin(), journal.inputs.end(), span.first,
                                        [](const Input& input, Time at) { return input.at < at; });
    const auto last = std::upper_bound(first, journal.inputs.end(), span.last, [](Time at, const Input& input) { return at < input.at; });
    // The input that brings a new player is the last of the old one.
    const Time began = player_began(journal, span);
    const auto newest = std::find_if(std::make_reverse_iterator(first), journal.inputs.rend(),
                                     [began](const Input& input) { return input.kind == InputKind::configured && input.at <= began; });
    return {{newest.base(), first}, {first, last}};
}

} // namespace

Replayed replayed(const Journal& journal, const TakeSpan& span, const PlayerConfig& config)
{
    Replayed result;
    const Parts parts = parts_of(journal, span);
    // Checks are made at any time: those behind the take's last input may count what a later one caused.
    const auto later = std::find_if(journal.checks.begin(), journal.checks.end(), [&](const OutputCheck& c) { return c.at > span.last; });
    // A new player counts anew.
    auto own = later;
    while (own != journal.checks.begin() && (own == later || std::prev(own)->count < own->count)) --own;
    Listener listener{{own, later}, result.take};
    Player player{config};
    for (const Input& input : parts.past) {
        advance(player, input.at, listener);
        player.on(input, listener);
    }
    if (!parts.take.empty()) advance(player, parts.take.front().at, listener);
    result.take.begin_at(span.first);
    listener.begin();
    for (const Input& input : parts.take) {
        advance(player, input.at, listener);
        result.take.input(input);
        player.on(input, listener);
    }
    listener.stop_comparing();
    result.checked = listener.checked();
    result.difference = listener.difference();
    come_to_rest(player, parts.take, span.last, listener, result.take);
    if (result.difference) result.difference->place = place_from(result.take, result.difference->after);
    return result;
}

Piece piece_of(const Journal& journal, const TakeSpan& span, const PlayerConfig& player)
{
    const Parts parts = parts_of(journal, span);
    return {player, {parts.take.begin(), parts.take.end()}, span.last, {parts.past.begin(), parts.past.end()}, span.first};
}

} // namespace bowarm
