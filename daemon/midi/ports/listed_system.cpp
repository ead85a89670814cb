#include "midi/ports/listed_system.hpp"

#include "midi/ports/library_lines.hpp"
#include "midi/ports/port_names.hpp"
#include "midi/ports/rtmidi_port.hpp"

#include <algorithm>
#include <chrono>
#include <map>
#include <thread>

#include <unistd.h>

namespace bowarm
{
namespace
{

class ListedInput final : public InputPort
{
public:
    ListedInput(RtMidi::Api api, const PortWish& wish, Receiver& receiver)
        : midi_(api, wish.client, receiver), name_(wish.client + ":" + wish.port)
    {
    }
    const std::string& real_name() const noexcept override { return name_; }
    RtMidiInput midi_;

private:
    std::string name_;
};

class ListedOutput final : public OutputPort
{
public:
    ListedOutput(RtMidi::Api api, const PortWish& wish) : midi_(api, wish.client), name_(wish.client + ":" + wish.port) {}
    const std::string& real_name() const noexcept override { return name_; }
    bool usable() const noexcept override { return !midi_.failed(); }
    bool ready(std::size_t) noexcept override { return true; }
    // After the first complaint the object goes, with whatever it still holds: RtMidi keeps an event that one receiver
    // refused and would deliver it again and again to the others.
    Sent send(const Message& message) noexcept override { return midi_.send(message) ? Sent::sent : Sent::failed; }
    void settle() noexcept override { std::this_thread::sleep_for(std::chrono::milliseconds(5)); }
    RtMidiOutput midi_;

private:
    std::string name_;
};

class ListedSystem final : public MidiSystem
{
public:
    ListedSystem(RtMidi::Api api, const std::string& client)
        : api_(api), client_(client), in_(api, client + " list in", 1), out_(api, client + " list out")
    {
    }

    std::string_view name() const noexcept override { return name_; }
    std::string version() const override { return {}; }
    SystemState state() const noexcept override { return SystemState::running; }
    std::vector<std::string> sources() override { return foreign(in_); }
    std::vector<std::string> destinations() override { return foreign(out_); }

    Opened<InputPort> open_input(const PortWish& wish, Receiver& receiver) override
    {
        return open<InputPort>(wish, [&] { return std::make_unique<ListedInput>(api_, wish, receiver); });
    }
    Opened<OutputPort> open_output(const PortWish& wish) override
    {
        return open<OutputPort>(wish, [&] { return std::make_unique<ListedOutput>(api_, wish); });
    }
    // What was asked for, as long as it is there: subscriptions made by others are not seen.
    std::vector<std::string> connections(const std::string& real_name) override
    {
        const auto peer = peers_.find(real_name);
        if (peer == peers_.end()) return {};
        const std::vector<std::string> in = sources();
        const std::vector<std::string> out = destinations();
        const bool there =
            std::find(in.begin(), in.end(), peer->second) != in.end() || std::find(out.begin(), out.end(), peer->second) != out.end();
        return there ? std::vector<std::string>{peer->second} : std::vector<std::string>{};
    }

private:
    template <class Port, class Make> Opened<Port> open(const PortWish& wish, Make make)
    {
        try {
            auto port = make();
            if (wish.peer.empty()) {
                port->midi_.open_virtual(wish.port);
            } else {
                port->midi_.open_by_name(wish.peer, wish.port);
                peers_.insert_or_assign(port->real_name(), wish.peer);
            }
            return {std::move(port), {}};
        } catch (const std::exception& trouble) {
            return {nullptr, trouble.what()};
        }
    }
    std::vector<std::string> foreign(RtMidi& lister) const
    {
        std::vector<std::string> names = listed(lister);
        std::erase_if(names, [&](const std::string& n) { return n.empty() || is_own(n, client_) || is_through(n); });
        return names;
    }

    RtMidi::Api api_;
    std::string client_;
    std::string name_{RtMidi::getApiName(api_)};
    RtMidiIn in_;
    RtMidiOut out_;
    std::map<std::string, std::string> peers_; // of our ports by their real name
};

} // namespace

std::unique_ptr<MidiSystem> open_listed(std::string_view system, const std::string& client)
{
    const RtMidi::Api api = RtMidi::getCompiledApiByName(std::string{system});
    if (api == RtMidi::UNSPECIFIED || api == RtMidi::UNIX_JACK) return nullptr;
    if (api == RtMidi::LINUX_ALSA && ::access("/dev/snd/seq", R_OK | W_OK) != 0) return nullptr;
    try {
        return std::make_unique<ListedSystem>(api, client);
    } catch (const std::exception& trouble) {
        add_library_line(trouble.what());
        return nullptr;
    }
}

} // namespace bowarm
