#include "player/way_out.hpp"

#include "player/delays.hpp"

namespace bowarm
{
namespace
{

// What comes out of the departures goes onto the cable.
class OntoCable final : public Sink
{
public:
    OntoCable(std::optional<Wire>& wire, Sink& sink) : wire_(wire), sink_(sink) {}
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        if (wire_)
            wire_->bundle(at, messages, sink_);
        else
            sink_.bundle(at, messages);
    }
    void curve(Time at, Controller controller, int value) noexcept override
    {
        if (wire_)
            wire_->curve(at, controller, value);
        else
            sink_.curve(at, controller, value);
    }
    void fact(const Fact& fact) noexcept override { sink_.fact(fact); }

private:
    std::optional<Wire>& wire_;
    Sink& sink_;
};

} // namespace

// Where the desks hand out what they have.
class WayOut::Door final : public Sink
{
public:
    Door(WayOut& way, Desks& desks, Sink& sink) : way_(way), desks_(desks), sink_(sink), cable_(way.wire_, sink) {}
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        const std::optional<Seconds> speaks = desks_.take_speaking();
        if (way_.departures_)
            way_.departures_->bundle(at, messages, speaks, cable_);
        else
            cable_.bundle(at, messages);
    }
    void curve(Time at, Controller controller, int value) noexcept override
    {
        if (way_.departures_)
            way_.departures_->curve(at, controller, value, cable_);
        else
            cable_.curve(at, controller, value);
    }
    void fact(const Fact& fact) noexcept override { sink_.fact(fact); }
    void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override
    {
        sink_.decided(at, note, needs, direction, retake);
    }
    OntoCable& cable() { return cable_; }

private:
    WayOut& way_;
    Desks& desks_;
    Sink& sink_;
    OntoCable cable_;
};

bool WayOut::is_needed(const PlayerConfig& config) noexcept { return config.players_on_cable > 0 || delays_of(config).early > Duration{0}; }

WayOut::WayOut(const PlayerConfig& config)
{
    const Duration early = delays_of(config).early;
    if (early > Duration{0}) departures_.emplace(early, config.target);
    if (config.players_on_cable > 0) wire_.emplace(config.target, config.players_on_cable);
}

void WayOut::on(const Input& input, Desks& desks, Sink& sink) noexcept
{
    Door door(*this, desks, sink);
    desks.on(input, door);
    if (wire_ && wire_->overflowed()) start_again(input.at, desks, sink);
}

Time WayOut::next_wake(const Desks& desks) const noexcept
{
    Time next = desks.next_wake();
    if (departures_ && departures_->next() < next) next = departures_->next();
    if (wire_ && wire_->next() < next) next = wire_->next();
    return next;
}

// At one moment the desks come first: what they send may replace what waits.
void WayOut::wake(Desks& desks, Sink& sink) noexcept
{
    const Time at = next_wake(desks);
    Door door(*this, desks, sink);
    if (desks.next_wake() == at)
        desks.wake(door);
    else if (departures_ && departures_->next() == at)
        departures_->wake(at, door.cable());
    else
        wire_->wake(at, sink);
    if (wire_ && wire_->overflowed()) start_again(at, desks, sink);
}

void WayOut::start_again(Time at, Desks& desks, Sink& sink) noexcept
{
    Door door(*this, desks, sink);
    wire_->reset(at, sink);
    desks.on(command_input(at, Command::target_unknown), door);
}

} // namespace bowarm
