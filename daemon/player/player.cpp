#include "player/player.hpp"

#include "player/desks.hpp"
#include "player/way_out.hpp"

#include <utility>

namespace bowarm
{

Player::Player(const PlayerConfig& config)
    : desks_(std::make_unique<Desks>(config)), way_out_(WayOut::is_needed(config) ? std::make_unique<WayOut>(config) : nullptr)
{
}
Player::~Player() = default;
Player::Player(Player&&) noexcept = default;
Player& Player::operator=(Player&&) noexcept = default;

void Player::bow_by(const std::vector<PlannedStroke>& plan) { desks_->bow_by(plan); }
void Player::obey(const std::vector<WishedStroke>& wishes) { desks_->obey(wishes); }
void Player::read(Snapshot& snapshot) const noexcept { desks_->read(snapshot); }
void Player::read_desk(std::size_t desk, Snapshot& snapshot) const noexcept { desks_->read_desk(desk, snapshot); }

void Player::on(const Input& input, Sink& sink) noexcept
{
    if (way_out_)
        way_out_->on(input, *desks_, sink);
    else
        desks_->on(input, sink);
}

Time Player::next_wake() const noexcept { return way_out_ ? way_out_->next_wake(*desks_) : desks_->next_wake(); }

void Player::wake(Sink& sink) noexcept
{
    if (way_out_)
        way_out_->wake(*desks_, sink);
    else
        desks_->wake(sink);
}

} // namespace bowarm
