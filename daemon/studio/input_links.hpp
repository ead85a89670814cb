// The inputs of the configuration, connected to whatever of the MIDI system they mean.
//   thread   the keeper's alone; may block as the system does.  Real-time safe: no.
//   Errors   said once, and tried again at the next look.
#pragma once

#include "studio/port_keeping.hpp"

#include <optional>

namespace bowarm
{

class InputLinks
{
public:
    explicit InputLinks(PortKeeping& keeping) : keeping_(keeping), lost_before_(keeping.settings.inputs.size(), false) {}

    // Lets go what is gone; opens what is there, unless old ports are still on their way out.  Own outputs by their real names.
    void look(MidiSystem& system, const Names& own_outputs);
    // The system is gone, with every port of it.
    void system_lost();
    void close_all();
    // Every port is let go; the settings have changed.
    void settings_changed();
    // Events of an unknown input were lost.
    void gap_everywhere();
    PortView::Port view(std::size_t input) const; // its state is "open", "lost" or "waiting"

private:
    struct Link {
        std::size_t input{0}; // in the configuration
        std::string peer;     // empty: others connect
        std::unique_ptr<InputPort> port;
        std::size_t feed{0};
        Names connected;
    };

    void look_at_links(MidiSystem& system, const Names& sources);
    void look_for_loops(const Names& own_outputs);
    void open(MidiSystem& system, std::size_t input, const std::string& peer);
    std::optional<std::size_t> free_feed() const;
    void let_go(Link link);
    void tell_engine(InputKind kind, std::size_t input);
    std::size_t number(std::size_t input, const std::string& peer) const;

    PortKeeping& keeping_;
    std::vector<Link> links_;
    std::vector<bool> lost_before_; // by input
    std::vector<Names> unclear_;    // by input
    const std::shared_ptr<std::array<std::atomic<bool>, feeds_at_most>> feed_taken_ =
        std::make_shared<std::array<std::atomic<bool>, feeds_at_most>>();
};

} // namespace bowarm
