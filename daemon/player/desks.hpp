// The desks of one part: several players who share its notes, each with a bow and a hand of its own.
//   One desk is the engine itself.  Of several, the first gets the highest notes of a chord, the next the notes below, and so on; a
//   later note goes to the desk whose last note is nearest, so that each keeps its voice; a key ends on the desk it began on.
//   What is known at the moment of a key is all that counts: notes that come at one instant, or within the chord hold, are
//   shared from the highest down; others as the fingers fall.
//   thread   the player's.  Real-time safe: yes, but for the constructor.  Errors: none.
#pragma once

#include "player/engine.hpp"

#include <array>
#include <memory>
#include <vector>

namespace bowarm
{

class Desks
{
public:
    explicit Desks(const PlayerConfig& config);

    void bow_by(const std::vector<PlannedStroke>& plan);
    void obey(const std::vector<WishedStroke>& wishes);
    void on(const Input& input, Sink& sink) noexcept;
    Time next_wake() const noexcept;
    void wake(Sink& sink) noexcept;
    void read(Snapshot& snapshot) const noexcept;
    void read_desk(std::size_t desk, Snapshot& snapshot) const noexcept { engines_[desk]->read(snapshot); }
    // Of the desk that has sent something: how long after it the sampler speaks.
    std::optional<Seconds> take_speaking() noexcept { return engines_[last_]->take_speaking(); }

private:
    static constexpr std::uint8_t nobody = 0xFF;
    static constexpr std::size_t waiting_limit = 128;
    static constexpr std::size_t chord_limit = 32;

    struct Waiting {
        Input input;
        std::uint32_t note{0}; // of a note-on
    };
    enum class Concerns : std::uint8_t { all, key_down, key_up, nobody };

    bool alone() const noexcept { return engines_.size() == 1; }
    Concerns concerns(const Input& input) const noexcept;
    bool cannot_wait(const Input& input) const noexcept;
    void tell(std::size_t desk, const Waiting& waiting, Sink& sink) noexcept;
    void tell_all(const Waiting& waiting, Sink& sink) noexcept;
    void apply(const Waiting& waiting, Sink& sink) noexcept;
    void prepare(std::size_t desk) noexcept;
    Time next_release() const noexcept;
    void release(Time at, Sink& sink) noexcept;
    std::size_t through_chord() const noexcept;
    void share(FixedVector<Waiting, chord_limit>& notes, Sink& sink) noexcept;
    void begin_group(Time at) noexcept;
    std::optional<std::size_t> desk_for_key(Midi7 pitch) const noexcept;
    std::size_t desk_for(Midi7 pitch, bool joins) const noexcept;
    std::size_t free_desk(Midi7 pitch) const noexcept;
    std::size_t nearest_voice(Midi7 pitch) const noexcept;
    bool holds(std::size_t desk) const noexcept;
    bool any_down() const noexcept;
    void forget_keys(const Input& input) noexcept;
    void forget_voices() noexcept;

    Controls controls_;
    Seconds chord_window_;
    Duration hold_;
    bool own_channels_;
    std::vector<std::unique_ptr<Engine>> engines_;
    FixedVector<Waiting, waiting_limit> waiting_; // oldest first
    std::uint32_t notes_{0};
    std::array<std::uint8_t, 128> desk_of_{}; // for each key that is down
    std::array<Source, 128> source_of_{};
    std::array<std::optional<Midi7>, desks_at_most> voice_{}; // the last note of each, while any key is down
    Time group_onset_;                                        // of the newest chord or note
    std::array<bool, desks_at_most> in_group_{};
    std::size_t last_{0}; // the engine that spoke last
};

} // namespace bowarm
