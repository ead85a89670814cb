// The techniques and states of a target's file.  See key_rows.hpp for threads and errors.
#pragma once

#include "studio/target_switches.hpp"

#include <array>

namespace bowarm
{

class TechniqueReader
{
public:
    TechniqueReader(const Section& top, const Instrument* instrument, TargetSpec& spec)
        : top_(top), instrument_(instrument), switches_(top, instrument), spec_(spec)
    {
    }

    void read();
    // Needs the curves.
    void check_fades() const;

private:
    struct Read {
        std::optional<Section> section;
        std::vector<SwitchRead> switches;
        std::optional<Technique> shares; // the switch of that one
        bool refused{false};             // its switch was not understood
    };
    static constexpr std::size_t count = technique_count;

    TechniqueWay read_technique(const Section& section, Read& read);
    void read_ways(const Section& section, Switch& down, Switch& up, Read& read);
    void read_layers(const Section& section, TechniqueWay& way, Read& read);
    void read_states();
    void share_switches();
    void check_chain(const Section& all, Technique technique) const;
    void check_ambiguous() const;
    void check_silent() const;
    void check_banks() const;
    void check_states() const;
    void check_release() const;

    const Section& top_;
    const Instrument* instrument_;
    SwitchReader switches_;
    TargetSpec& spec_;
    std::array<Read, count> techniques_{};
    std::array<std::optional<SwitchRead>, target_state_count> states_{};
};

} // namespace bowarm
