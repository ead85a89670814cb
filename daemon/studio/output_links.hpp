// The outputs of the configuration, each with a sender for every port that it means.
//   thread   the keeper's alone; may block as the system does.  Real-time safe: no.
//   Errors   said once, and tried again at the next look.
#pragma once

#include "studio/port_keeping.hpp"
#include "studio/sender.hpp"

#include <map>
#include <mutex>
#include <optional>
#include <utility>

namespace bowarm
{

class OutputLinks
{
public:
    // Senders that others may have to give up are listed under that lock.
    struct Listed {
        std::mutex& mutex;
        std::vector<std::weak_ptr<Sender>>& senders;
    };
    OutputLinks(PortKeeping& keeping, Listed listed) : keeping_(keeping), listed_(listed) {}

    void look(MidiSystem& system, bool playing);
    // Frees what senders have left.
    void reap();
    void let_all_go();
    // Some senders are not through yet.
    bool leaving() const { return !leaving_.empty(); }
    bool all_ended() const;
    // A thread of ours is inside the MIDI system and may never come back.
    bool left_somebody_behind() const;
    void forget_leaving() { leaving_.clear(); }
    Names real_names() const;
    PortView::Port view(std::size_t output, bool system_there) const;

private:
    struct Link {
        std::size_t output{0};
        std::string peer;
        std::size_t slot{0};
        std::shared_ptr<Sender> sender;
        std::string real_name;
        Names connected;
        std::string name; // of the output: it may be another one after a reload
    };

    void look_at_links(MidiSystem& system, const Names& destinations, bool playing);
    void watch_listeners(MidiSystem& system, Link& link, bool playing);
    void open(MidiSystem& system, std::size_t output, const std::string& peer, bool playing);
    std::optional<std::size_t> free_slot() const;
    void let_go(const Link& link);
    void clear_up_late_sends();
    std::size_t number(std::size_t output, const std::string& peer) const;

    PortKeeping& keeping_;
    Listed listed_;
    std::vector<Link> links_, leaving_;
    std::vector<Link> given_up_;                                       // whose send has not come back yet
    std::map<std::pair<std::string, std::string>, Sounding> sounding_; // by output and peer: what the last sender left sounding there
    std::vector<Names> unclear_;                                       // by output
    std::set<std::string> was_open_;                                   // outputs, at least once
    bool cautioned_{false};
};

} // namespace bowarm
