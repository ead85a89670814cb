#include "world/studio_of_ports.hpp"

#include "midi/ports/port_names.hpp"

#include <algorithm>
#include <utility>

namespace bowarm::world
{
namespace
{

constexpr std::array<int, 4> pedal_numbers{64, 66, 67, 69};
constexpr Ns round_trip = 3 * ms; // two periods of 64 frames

} // namespace

void Sampler::hear(const Message& message)
{
    ++messages;
    const std::uint8_t status = message.bytes[0];
    const std::size_t wanted = status >= 0xF0 ? message.size : ((status >> 4) == 0xC || (status >> 4) == 0xD ? 2 : 3);
    if (status < 0x80 || message.size != wanted || message.size < 1) machine::violated(name + " hears what is no message");
    for (std::size_t i = 1; i < message.size; ++i)
        if (message.bytes[i] > 127) machine::violated(name + " hears a value of more than seven bits");
    if (message.kind() == MessageKind::system) return;
    const std::size_t channel = message.channel().get();
    if (channel == Studio::passed_channel) passed.push_back(message);
    int& count = held[channel][message.first().get()];
    if (message.is_note_on()) {
        ++count;
        ++note_ons;
    } else if (message.is_note_off()) {
        count = std::max(0, count - 1);
    } else if (message.kind() == MessageKind::control_change) {
        for (std::size_t i = 0; i < pedal_numbers.size(); ++i)
            if (pedal_numbers[i] == message.first().get()) pedals[channel][i] = message.bytes[2];
    }
}

void Sampler::forget()
{
    for (auto& channel : held) channel.fill(0);
    pedals = {};
    passed.clear();
}

std::string Sampler::what_sounds(bool switches_too) const
{
    for (std::size_t channel = 0; channel < 16; ++channel)
        for (std::size_t key = 0; key < 128; ++key)
            if (held[channel][key] != 0 && (switches_too || !switches[channel][key]))
                return name + ": key " + std::to_string(key) + " on channel " + std::to_string(channel + 1);
    for (std::size_t channel = 0; switches_too && channel < 16; ++channel)
        for (std::size_t i = 0; i < pedal_numbers.size(); ++i)
            if (pedals[channel][i] != 0)
                return name + ": pedal " + std::to_string(pedal_numbers[i]) + " on channel " + std::to_string(channel + 1);
    return {};
}

class StudioInput final : public InputPort
{
public:
    StudioInput(Studio& studio, std::string name, std::string peer, Receiver& receiver, int generation)
        : studio_(studio), name_(std::move(name)), generation_(generation)
    {
        studio_.ins_.push_back({name_, std::move(peer), &receiver});
    }
    ~StudioInput() override
    {
        if (generation_ == studio_.generation_) machine::wait_at(studio_.server_gate_);
        std::erase_if(studio_.ins_, [this](const Studio::In& in) { return in.own == name_; });
    }
    const std::string& real_name() const noexcept override { return name_; }

private:
    Studio& studio_;
    std::string name_;
    int generation_;
};

class StudioOutput final : public OutputPort
{
public:
    StudioOutput(Studio& studio, std::string name, std::string peer, Sampler* sampler, int generation)
        : studio_(studio), name_(std::move(name)), sampler_(sampler), generation_(generation)
    {
        studio_.outs_.push_back({name_, std::move(peer)});
        if (sampler_ != nullptr) studio_.touched(*sampler_);
    }
    ~StudioOutput() override
    {
        if (generation_ == studio_.generation_) machine::wait_at(studio_.server_gate_);
        std::erase_if(studio_.outs_, [this](const Studio::Out& out) { return out.own == name_; });
    }
    const std::string& real_name() const noexcept override { return name_; }
    bool usable() const noexcept override { return generation_ == studio_.generation_ && studio_.server_ != SystemState::lost; }
    bool ready(std::size_t) noexcept override { return usable() && studio_.server_ == SystemState::running && !refuses(); }
    Sent send(const Message& message) noexcept override
    {
        if (!usable()) return Sent::failed;
        if (!ready(1)) return Sent::later;
        if (sampler_ != nullptr) machine::wait_at(sampler_->gate);
        if (!usable()) return Sent::failed;
        if (sampler_ != nullptr && sampler_->plugged) deliver(message);
        return Sent::sent;
    }
    void settle() noexcept override {}

private:
    bool refuses() const { return sampler_ != nullptr && sampler_->refuses; }
    void deliver(Message message)
    {
        const std::uint64_t number = sampler_->messages;
        if (studio_.lies.note_offs != 0 && message.is_note_off() && number % static_cast<std::uint64_t>(studio_.lies.note_offs) == 0)
            return;
        const bool passed = message.kind() != MessageKind::system && message.channel().get() == Studio::passed_channel;
        if (studio_.lies.passed != 0 && passed && number % static_cast<std::uint64_t>(studio_.lies.passed) == 0) message.bytes[2] ^= 1U;
        sampler_->hear(message);
        studio_.comes_back(*sampler_, message);
    }

    Studio& studio_;
    std::string name_;
    Sampler* sampler_;
    int generation_;
};

class StudioSystem final : public MidiSystem
{
public:
    StudioSystem(Studio& studio, int generation) : studio_(studio), generation_(generation) {}
    std::string_view name() const noexcept override { return "studio"; }
    std::string version() const override { return {}; }
    SystemState state() const noexcept override { return generation_ == studio_.generation_ ? studio_.server_ : SystemState::lost; }
    std::vector<std::string> sources() override
    {
        machine::wait_at(studio_.server_gate_);
        std::vector<std::string> names;
        for (const auto& keyboard : studio_.keyboards)
            if (keyboard->plugged) names.push_back(keyboard->name);
        return names;
    }
    std::vector<std::string> destinations() override
    {
        machine::wait_at(studio_.server_gate_);
        std::vector<std::string> names;
        for (const auto& sampler : studio_.samplers)
            if (sampler->plugged) names.push_back(sampler->name);
        return names;
    }
    Opened<InputPort> open_input(const PortWish& wish, Receiver& receiver) override
    {
        machine::wait_at(studio_.server_gate_);
        if (state() == SystemState::lost) return {nullptr, "the server is gone"};
        const std::vector<std::string> there = sources();
        if (!wish.peer.empty() && std::find(there.begin(), there.end(), wish.peer) == there.end()) return {nullptr, "not there"};
        return {std::make_unique<StudioInput>(studio_, free_name(wish), wish.peer, receiver, generation_), {}};
    }
    Opened<OutputPort> open_output(const PortWish& wish) override
    {
        machine::wait_at(studio_.server_gate_);
        if (state() == SystemState::lost) return {nullptr, "the server is gone"};
        Sampler* sampler = nullptr;
        for (const auto& one : studio_.samplers)
            if (one->plugged && one->name == wish.peer) sampler = one.get();
        if (!wish.peer.empty() && sampler == nullptr) return {nullptr, "not there"};
        return {std::make_unique<StudioOutput>(studio_, free_name(wish), wish.peer, sampler, generation_), {}};
    }
    std::vector<std::string> connections(const std::string& real_name) override
    {
        machine::wait_at(studio_.server_gate_);
        for (const Studio::In& in : studio_.ins_)
            if (in.own == real_name && !in.peer.empty()) return {in.peer};
        for (const Studio::Out& out : studio_.outs_)
            if (out.own == real_name && !out.peer.empty()) return {out.peer};
        return {};
    }

private:
    // As JACK does it: a number behind a client name that is taken.
    std::string free_name(const PortWish& wish) const
    {
        const auto taken = [this](const std::string& name) {
            const auto has = [&](const auto& port) { return port.own == name; };
            return std::any_of(studio_.ins_.begin(), studio_.ins_.end(), has) ||
                   std::any_of(studio_.outs_.begin(), studio_.outs_.end(), has);
        };
        std::string name = wish.client + ":" + wish.port;
        for (int n = 1; taken(name); ++n) name = wish.client + "-0" + std::to_string(n) + ":" + wish.port;
        return name;
    }

    Studio& studio_;
    int generation_;
};

std::unique_ptr<MidiSystem> Studio::open_system(std::shared_ptr<Wakeup> bell)
{
    if (server_ != SystemState::running) return nullptr;
    bells_.push_back(bell);
    return std::make_unique<StudioSystem>(*this, generation_);
}

void Studio::ring()
{
    for (const auto& weak : bells_)
        if (const auto bell = weak.lock()) bell->ring();
}

void Studio::set_server(SystemState state)
{
    if (state == server_) return;
    if (state == SystemState::lost) {
        ++generation_;
        // The wires go with the server; what sounds goes on sounding.
        for (In& in : ins_) in.peer.clear();
        for (Out& out : outs_) out.peer.clear();
        for (auto& sampler : samplers) machine::open(sampler->gate);
    }
    server_ = state;
    server_gate_.open = false;
    if (state != SystemState::stalled) machine::open(server_gate_);
    for (auto& sampler : samplers) touched(*sampler);
    const auto waiting = std::exchange(waiting_, {});
    for (const auto& [keyboard, bytes] : waiting) play(keyboard, bytes);
    ring();
}

void Studio::plug(Keyboard& keyboard, bool in)
{
    keyboard.plugged = in;
    for (In& port : ins_)
        if (!in && port.peer == keyboard.name) port.peer.clear();
    ring();
}

void Studio::plug(Sampler& sampler, bool in)
{
    sampler.plugged = in;
    touched(sampler);
    sampler.forget(); // it was switched off
    for (Out& port : outs_)
        if (!in && port.peer == sampler.name) port.peer.clear();
    machine::open(sampler.gate);
    ring();
}

void Studio::block(Sampler& sampler, bool blocked)
{
    touched(sampler);
    if (blocked)
        sampler.gate.open = false;
    else
        machine::open(sampler.gate);
}

void Studio::comes_back(const Sampler& from, const Message& message)
{
    if (cable_.from != &from) return;
    machine::after(round_trip, [this, message] {
        if (!has_cable() || !play(cable_.to, message.data())) return;
        const std::pair key{static_cast<std::uint8_t>(0x80U | (message.bytes[0] & 0xFU)), message.first().get()};
        if (message.is_note_on()) cable_.down.insert(key);
        if (message.is_note_off()) cable_.down.erase(key);
    });
}

void Studio::take_cable_away()
{
    const Cable gone = std::exchange(cable_, {});
    for (const auto& [status, key] : gone.down) {
        const std::array<std::uint8_t, 3> up{status, static_cast<std::uint8_t>(key), 0};
        play(gone.to, up);
    }
}

void Studio::refuse(Sampler& sampler, bool refuses)
{
    touched(sampler);
    sampler.refuses = refuses;
}

bool Studio::play(std::size_t keyboard, std::span<const std::uint8_t> bytes)
{
    const Keyboard& from = *keyboards[keyboard];
    if (!from.plugged || server_ == SystemState::lost) return false;
    if (server_ == SystemState::stalled) {
        waiting_.emplace_back(keyboard, std::vector<std::uint8_t>{bytes.begin(), bytes.end()});
        return true;
    }
    bool taken = false;
    for (std::size_t i = 0; i < ins_.size(); ++i) {
        if (ins_[i].peer != from.name) continue;
        ins_[i].receiver->received(bytes);
        taken = true;
    }
    return taken;
}

bool Studio::listened_to(std::size_t keyboard) const
{
    const Keyboard& from = *keyboards[keyboard];
    return server_ == SystemState::running && from.plugged &&
           std::any_of(ins_.begin(), ins_.end(), [&](const In& in) { return in.peer == from.name; });
}

bool Studio::connected(const Sampler& sampler) const
{
    return server_ == SystemState::running &&
           std::any_of(outs_.begin(), outs_.end(), [&](const Out& out) { return out.peer == sampler.name; });
}

} // namespace bowarm::world
