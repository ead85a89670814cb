// A MIDI system in memory, with the faults that real ones have.
#pragma once

#include "midi/port.hpp"
#include "midi/ports/port_names.hpp"

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

namespace bowarm::test
{

// What all systems of one test share.
struct FakeWorld {
    struct Port {
        std::string name;
        bool is_output; // of its owner: something can be listened to
        Receiver* receiver;
    };

    std::mutex mutex;
    std::condition_variable changed;
    std::vector<Port> ports;
    std::vector<std::pair<std::string, std::string>> links; // from an output to an input
    std::vector<Message> sent;                              // by every output, in order
    bool blocks{false};                                     // a send does not come back
    std::string blocked_port;                               // then: of this port alone; empty: of any
    std::atomic<bool> refuses{false};                       // no credit
    std::atomic<SystemState> state{SystemState::running};

    void unblock()
    {
        const std::lock_guard lock{mutex};
        blocks = false;
        changed.notify_all();
    }
    std::vector<Message> take_sent()
    {
        const std::lock_guard lock{mutex};
        return std::exchange(sent, {});
    }
    void add(std::string name, bool is_output, Receiver* receiver)
    {
        const std::lock_guard lock{mutex};
        ports.push_back({std::move(name), is_output, receiver});
    }
    void remove(const std::string& name)
    {
        const std::lock_guard lock{mutex};
        std::erase_if(ports, [&](const Port& p) { return p.name == name; });
        std::erase_if(links, [&](const auto& l) { return l.first == name || l.second == name; });
    }
    std::vector<std::string> names(bool outputs)
    {
        const std::lock_guard lock{mutex};
        std::vector<std::string> found;
        for (const Port& port : ports)
            if (port.is_output == outputs) found.push_back(port.name);
        return found;
    }
    // What another program sends from its port.
    void play(const std::string& from, std::span<const std::uint8_t> bytes)
    {
        const std::lock_guard lock{mutex};
        for (const auto& link : links)
            if (link.first == from)
                for (const Port& port : ports)
                    if (port.name == link.second && port.receiver != nullptr) port.receiver->received(bytes);
    }
    void play(const std::string& from, const Message& message) { play(from, message.data()); }
};

class FakeInput final : public InputPort
{
public:
    FakeInput(std::shared_ptr<FakeWorld> world, std::string name, Receiver& receiver) : world_(std::move(world)), name_(std::move(name))
    {
        world_->add(name_, false, &receiver);
    }
    ~FakeInput() override { world_->remove(name_); }
    const std::string& real_name() const noexcept override { return name_; }

private:
    std::shared_ptr<FakeWorld> world_;
    std::string name_;
};

class FakeOutput final : public OutputPort
{
public:
    FakeOutput(std::shared_ptr<FakeWorld> world, std::string name) : world_(std::move(world)), name_(std::move(name))
    {
        world_->add(name_, true, nullptr);
    }
    ~FakeOutput() override { world_->remove(name_); }
    const std::string& real_name() const noexcept override { return name_; }
    bool usable() const noexcept override { return world_->state.load() != SystemState::lost; }
    bool ready(std::size_t) noexcept override { return !world_->refuses.load() && world_->state.load() == SystemState::running; }
    Sent send(const Message& message) noexcept override
    {
        if (!usable()) return Sent::failed;
        if (!ready(1)) return Sent::later;
        {
            std::unique_lock lock{world_->mutex};
            world_->changed.wait(lock,
                                 [this] { return !world_->blocks || (!world_->blocked_port.empty() && world_->blocked_port != name_); });
            world_->sent.push_back(message);
        }
        world_->play(name_, message);
        return Sent::sent;
    }
    void settle() noexcept override {}

private:
    std::shared_ptr<FakeWorld> world_;
    std::string name_;
};

class FakeSystem final : public MidiSystem
{
public:
    FakeSystem(std::shared_ptr<FakeWorld> world, std::string client) : world_(std::move(world)), client_(std::move(client)) {}
    std::string_view name() const noexcept override { return "fake"; }
    std::string version() const override { return {}; }
    SystemState state() const noexcept override { return world_->state.load(); }
    std::vector<std::string> sources() override { return foreign(true); }
    std::vector<std::string> destinations() override { return foreign(false); }
    Opened<InputPort> open_input(const PortWish& wish, Receiver& receiver) override
    {
        if (!wish.peer.empty() && !offers(sources(), wish.peer)) return {nullptr, "not there"};
        auto port = std::make_unique<FakeInput>(world_, free_name(wish), receiver);
        if (!wish.peer.empty()) link(wish.peer, port->real_name());
        return {std::move(port), {}};
    }
    Opened<OutputPort> open_output(const PortWish& wish) override
    {
        if (!wish.peer.empty() && !offers(destinations(), wish.peer)) return {nullptr, "not there"};
        auto port = std::make_unique<FakeOutput>(world_, free_name(wish));
        if (!wish.peer.empty()) link(port->real_name(), wish.peer);
        return {std::move(port), {}};
    }
    std::vector<std::string> connections(const std::string& name) override
    {
        const std::lock_guard lock{world_->mutex};
        std::vector<std::string> found;
        for (const auto& [from, to] : world_->links) {
            if (from == name) found.push_back(to);
            if (to == name) found.push_back(from);
        }
        return found;
    }

private:
    static bool offers(const std::vector<std::string>& names, const std::string& name)
    {
        return std::find(names.begin(), names.end(), name) != names.end();
    }
    std::vector<std::string> foreign(bool outputs) const
    {
        std::vector<std::string> names = world_->names(outputs);
        std::erase_if(names, [this](const std::string& n) { return is_own(n, client_) || is_through(n); });
        return names;
    }
    // As JACK does it: a number behind a client name that is taken.
    std::string free_name(const PortWish& wish)
    {
        std::vector<std::string> taken = world_->names(true);
        for (const std::string& name : world_->names(false)) taken.push_back(name);
        std::string name = wish.client + ":" + wish.port;
        for (int n = 1; offers(taken, name); ++n) name = wish.client + "-0" + std::to_string(n) + ":" + wish.port;
        return name;
    }
    void link(const std::string& from, const std::string& to)
    {
        const std::lock_guard lock{world_->mutex};
        world_->links.emplace_back(from, to);
    }

    std::shared_ptr<FakeWorld> world_;
    std::string client_;
};

} // namespace bowarm::test
