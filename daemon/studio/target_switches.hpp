// The switches of a target's file: what a technique or a state is selected with.  See key_rows.hpp for threads and errors.
#pragma once

#include "bow/instrument.hpp"
#include "studio/key_rows.hpp"
#include "target/target_spec.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

// A switch with what only its checks need.
struct SwitchRead {
    struct Range {
        int low{0}, high{0};
    };
    Switch of;
    std::vector<Range> ranges; // of each step, the values that the sampler takes for it
    Section section;           // where it stands
};

class SwitchReader
{
public:
    // The instrument decides `program = "instrument"` and which keys must not be keyswitches; nullptr: it could not be read.
    SwitchReader(const Section& top, const Instrument* instrument) : top_(top), instrument_(instrument) { check_programs(); }

    // A table, or a list of tables that are sent one after the other; empty when absent or refused.
    std::optional<SwitchRead> read(const Section& in, std::string_view key) const;

private:
    void check_programs() const;
    std::optional<int> program_of(const Section& step) const;
    bool read_step(const Section& step, SwitchRead& into) const;
    void refuse_playable(const Section& step, Midi7 key) const;

    const Section& top_;
    const Instrument* instrument_;
};

// Whether a sampler could take one for the other: the same channel, and each step has its like.
bool look_alike(const SwitchRead& a, const SwitchRead& b);
// Whether some step of one has the key or the controller of the other.
bool share_a_step(const SwitchRead& a, const SwitchRead& b);

} // namespace bowarm
