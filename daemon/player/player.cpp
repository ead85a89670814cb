#include "player/player.hpp"

#include "player/engine.hpp"
#include "player/way_out.hpp"

#include <utility>

namespace bowarm
{

Player::Player(const PlayerConfig& config)
    : engine_(std::make_unique<Engine>(config)), way_out_(WayOut::is_needed(config) ? std::make_unique<WayOut>(config) : nullptr)
{
}
Player::~Player() = default;
Player::Player(Player&&) noexcept = default;
Player& Player::operator=(Player&&) noexcept = default;

void Player::bow_by(std::vector<PlannedStroke> plan) { engine_->bow_by(std::move(plan)); }
void Player::obey(std::vector<WishedStroke> wishes) { engine_->obey(std::move(wishes)); }
void Player::read(Snapshot& snapshot) const noexcept { engine_->read(snapshot); }

void Player::on(const Input& input, Sink& sink) noexcept
{
    if (way_out_)
        way_out_->on(input, *engine_, sink);
    else
        engine_->on(input, sink);
}

Time Player::next_wake() const noexcept { return way_out_ ? way_out_->next_wake(*engine_) : engine_->next_wake(); }

void Player::wake(Sink& sink) noexcept
{
    if (way_out_)
        way_out_->wake(*engine_, sink);
    else
        engine_->wake(sink);
}

} // namespace bowarm
