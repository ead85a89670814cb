#include "player/player.hpp"

#include "player/desks.hpp"

namespace bowarm
{

Player::Player(const PlayerConfig& config) : desks_(std::make_unique<Desks>(config)) {}
Player::~Player() = default;
Player::Player(Player&&) noexcept = default;
Player& Player::operator=(Player&&) noexcept = default;

void Player::bow_by(std::vector<PlannedStroke> plan) { desks_->bow_by(plan); }
void Player::obey(std::vector<WishedStroke> wishes) { desks_->obey(wishes); }
void Player::on(const Input& input, Sink& sink) noexcept { desks_->on(input, sink); }
Time Player::next_wake() const noexcept { return desks_->next_wake(); }
void Player::wake(Sink& sink) noexcept { desks_->wake(sink); }
void Player::read(Snapshot& snapshot) const noexcept { desks_->read(snapshot); }

} // namespace bowarm
