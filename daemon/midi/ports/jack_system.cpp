#include "midi/ports/jack_system.hpp"

#include "midi/ports/credit.hpp"
#include "midi/ports/jack_watcher.hpp"
#include "midi/ports/monotonic.hpp"
#include "midi/ports/port_names.hpp"
#include "midi/ports/rtmidi_port.hpp"

#include <algorithm>
#include <chrono>
#include <thread>

namespace bowarm
{
namespace
{

using Watcher = std::shared_ptr<JackWatcher>;

class JackInput final : public InputPort
{
public:
    JackInput(const std::string& client, Receiver& receiver) : midi_(RtMidi::UNIX_JACK, client, receiver) {}
    const std::string& real_name() const noexcept override { return real_name_; }

    RtMidiInput midi_;
    std::string real_name_;
};

class JackOutput final : public OutputPort
{
public:
    JackOutput(const std::string& client, Watcher watcher) : midi_(RtMidi::UNIX_JACK, client), watcher_(std::move(watcher)) {}
    const std::string& real_name() const noexcept override { return real_name_; }

    bool usable() const noexcept override { return !watcher_->lost(); }
    bool ready(std::size_t messages) noexcept override
    {
        return !watcher_->lost() && !watcher_->stalled() && credit_.allows(messages * Credit::cost(3), watcher_->cycles());
    }
    Sent send(const Message& message) noexcept override
    {
        if (watcher_->lost()) return Sent::failed;
        if (!ready(1)) return Sent::later;
        credit_.spend(Credit::cost(message.size), watcher_->cycles());
        return midi_.send(message) ? Sent::sent : Sent::failed;
    }
    void settle() noexcept override
    {
        const std::uint64_t from = watcher_->cycles();
        const std::int64_t until = monotonic_ns() + 100'000'000;
        while (!watcher_->lost() && watcher_->cycles() < from + Credit::cycles_to_empty && monotonic_ns() < until)
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }

    RtMidiOutput midi_;
    std::string real_name_;

private:
    Watcher watcher_;
    Credit credit_;
};

class JackSystem final : public MidiSystem
{
public:
    JackSystem(std::string client, Watcher watcher) : client_(std::move(client)), watcher_(std::move(watcher)) {}

    std::string_view name() const noexcept override { return "jack"; }
    std::string version() const override { return JackWatcher::version(); }
    SystemState state() const noexcept override
    {
        if (watcher_->lost()) return SystemState::lost;
        return watcher_->stalled() ? SystemState::stalled : SystemState::running;
    }
    std::vector<std::string> sources() override { return foreign(JackWatcher::Ports::outputs); }
    std::vector<std::string> destinations() override { return foreign(JackWatcher::Ports::inputs); }
    std::vector<std::string> connections(const std::string& real_name) override { return watcher_->connections(real_name); }

    Opened<InputPort> open_input(const PortWish& wish, Receiver& receiver) override
    {
        return open<InputPort>(wish, JackWatcher::Ports::inputs, [&] { return std::make_unique<JackInput>(wish.client, receiver); });
    }
    Opened<OutputPort> open_output(const PortWish& wish) override
    {
        return open<OutputPort>(wish, JackWatcher::Ports::outputs, [&] { return std::make_unique<JackOutput>(wish.client, watcher_); });
    }

private:
    std::vector<std::string> foreign(JackWatcher::Ports which) const
    {
        std::vector<std::string> names = watcher_->ports(which);
        std::erase_if(names, [&](const std::string& n) { return is_own(n, client_) || is_through(n); });
        return names;
    }

    // The port is made open to all and connected by the watcher: by name, and with an answer that can be believed.
    template <class Port, class Make> Opened<Port> open(const PortWish& wish, JackWatcher::Ports which, Make make)
    {
        if (watcher_->lost()) return {nullptr, "the JACK server is gone"};
        const std::vector<std::string> before = watcher_->ports(which);
        try {
            auto port = make();
            port->midi_.open_virtual(wish.port);
            port->real_name_ = newcomer(before, watcher_->ports(which), wish);
            if (port->real_name_.empty()) return {nullptr, "JACK does not list the port \"" + wish.port + "\" of \"" + wish.client + "\""};
            if (!wish.peer.empty() && !join(which, port->real_name_, wish.peer))
                return {nullptr, "JACK does not connect us to \"" + wish.peer + "\""};
            return {std::move(port), {}};
        } catch (const std::exception& trouble) {
            return {nullptr, trouble.what()};
        }
    }
    bool join(JackWatcher::Ports which, const std::string& ours, const std::string& theirs) const
    {
        return which == JackWatcher::Ports::inputs ? watcher_->connect(theirs, ours) : watcher_->connect(ours, theirs);
    }
    // JACK may have put a number behind the client's name; RtMidi does not tell.
    static std::string newcomer(const std::vector<std::string>& before, const std::vector<std::string>& after, const PortWish& wish)
    {
        for (const std::string& name : after) {
            const bool is_new = std::find(before.begin(), before.end(), name) == before.end();
            if (is_new && client_of(name).starts_with(wish.client) && name.ends_with(":" + wish.port)) return name;
        }
        return {};
    }

    std::string client_;
    Watcher watcher_;
};

} // namespace

std::unique_ptr<MidiSystem> open_jack(const std::string& client, std::shared_ptr<Wakeup> bell)
{
    Watcher watcher = JackWatcher::open(client + " watch", std::move(bell));
    return watcher ? std::make_unique<JackSystem>(client, std::move(watcher)) : nullptr;
}

} // namespace bowarm
