#include "player/player.hpp"

#include "player/engine.hpp"

#include <utility>

namespace bowarm
{

Player::Player(const PlayerConfig& config) : engine_(std::make_unique<Engine>(config)) {}
Player::~Player() = default;
Player::Player(Player&&) noexcept = default;
Player& Player::operator=(Player&&) noexcept = default;

void Player::bow_by(std::vector<PlannedStroke> plan) { engine_->bow_by(std::move(plan)); }
void Player::obey(std::vector<WishedStroke> wishes) { engine_->obey(std::move(wishes)); }
void Player::on(const Input& input, Sink& sink) noexcept { engine_->on(input, sink); }
Time Player::next_wake() const noexcept { return engine_->next_wake(); }
void Player::wake(Sink& sink) noexcept { engine_->wake(sink); }
void Player::read(Snapshot& snapshot) const noexcept { engine_->read(snapshot); }

} // namespace bowarm
