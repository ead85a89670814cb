#include "take/replayed.hpp"

#include "take/performance.hpp"

#include <utility>

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
        // Of a player that sent nothing more, the same may have been noted again.
        if (checks_.empty() || checks_.front().count <= hash_.now().count) return std::nullopt;
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
    std::vector<Input> past, take;
};

// The input that brings new players is the last of the old ones.
Parts parts_of(const Journal& journal, const TakeSpan& span, std::size_t player)
{
    const Time began = player_began(journal, span);
    Parts parts;
    for (const JournalInput& input : journal.inputs) {
        if (input.at > span.last) break;
        const bool renews = input.kind == InputKind::configured;
        if (renews && input.at <= began) parts.past.clear();
        if (renews || (input.players & only(player)) == 0) continue;
        (input.at < span.first ? parts.past : parts.take).push_back(input);
    }
    return parts;
}

// Checks are made at any time: those behind the take's last input may count what a later one caused.
std::vector<OutputCheck> checks_of(const Journal& journal, const TakeSpan& span, std::size_t player)
{
    const Time began = player_began(journal, span);
    std::vector<OutputCheck> checks;
    for (const JournalCheck& check : journal.checks)
        if (check.player == player && check.at >= began && check.at <= span.last) checks.push_back(check);
    return checks;
}

} // namespace

Replayed replayed(const Journal& journal, const TakeSpan& span, const PlayerConfig& config, std::size_t number)
{
    Replayed result;
    const Parts parts = parts_of(journal, span, number);
    const std::vector<OutputCheck> checks = checks_of(journal, span, number);
    Listener listener{checks, result.take};
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
    // Others may have played on, and what this one sent meanwhile was noted, too.
    advance(player, span.last, listener);
    listener.stop_comparing();
    result.checked = listener.checked();
    result.difference = listener.difference();
    come_to_rest(player, parts.take, span.last, listener, result.take);
    if (result.difference) result.difference->place = place_from(result.take, result.difference->after);
    return result;
}

Piece piece_of(const Journal& journal, const TakeSpan& span, const PlayerConfig& config, std::size_t player)
{
    Parts parts = parts_of(journal, span, player);
    return {config, std::move(parts.take), span.last, std::move(parts.past), span.first};
}

std::vector<Input> played_by(const Journal& journal, const TakeSpan& span, std::size_t player)
{
    return parts_of(journal, span, player).take;
}

} // namespace bowarm
