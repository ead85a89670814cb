#include "studio/input_links.hpp"

#include <spdlog/spdlog.h>

namespace bowarm
{

void InputLinks::look(MidiSystem& system, const Names& own_outputs)
{
    const Names sources = system.sources();
    look_at_links(system, sources);
    look_for_loops(own_outputs);
    const auto& inputs = keeping_.settings.inputs;
    unclear_.resize(inputs.size());
    for (std::size_t input = 0; input < inputs.size(); ++input) unclear_[input] = met(inputs[input].connect, sources).unclear;
    if (!keeping_.undertaker.idle()) return; // its bell will ring
    for (std::size_t input = 0; input < inputs.size(); ++input) {
        const InputSettings& wanted = inputs[input];
        if (wanted.virtual_port) open(system, input, {});
        const Names peers = met(wanted.connect, sources).names;
        for (const std::string& peer : peers) open(system, input, peer);
        for (const std::string& why : unclear_[input]) keeping_.say_once("input \"" + wanted.name + "\": " + why);
        if (!wanted.connect.empty() && peers.empty() && unclear_[input].empty())
            keeping_.say_once("input \"" + wanted.name + "\" waits for " + joined(wanted.connect), "; seen: " + joined(sources));
    }
}

void InputLinks::look_at_links(MidiSystem& system, const Names& sources)
{
    for (std::size_t i = links_.size(); i-- > 0;) {
        Link& link = links_[i];
        const Names now = system.connections(link.port->real_name());
        const bool gone = !link.peer.empty() && !holds(sources, link.peer);
        if (gone || lacks_any(now, link.connected)) tell_engine(InputKind::port_lost, link.input);
        link.connected = now;
        if (!gone) continue;
        spdlog::info("input \"{}\": \"{}\" is gone", keeping_.settings.inputs[link.input].name, link.peer);
        lost_before_[link.input] = true;
        let_go(std::move(link));
        links_.erase(links_.begin() + static_cast<std::ptrdiff_t>(i));
    }
}

// Connected by somebody's hand: our own wishes never mean our own ports.
void InputLinks::look_for_loops(const Names& own_outputs)
{
    std::uint32_t looped = 0;
    for (const Link& link : links_) {
        const auto ours =
            std::find_if(link.connected.begin(), link.connected.end(), [&](const std::string& name) { return holds(own_outputs, name); });
        if (ours != link.connected.end()) looped |= 1U << link.input;
    }
    const std::uint32_t before = keeping_.lines->looped_inputs.exchange(looped, std::memory_order_acq_rel);
    for (std::size_t input = 0; input < keeping_.settings.inputs.size(); ++input) {
        const bool now = (looped >> input & 1U) != 0, was = (before >> input & 1U) != 0;
        if (now && !was) {
            spdlog::warn("input \"{}\" is connected to our own output: it is not heard until that is undone",
                         keeping_.settings.inputs[input].name);
            tell_engine(InputKind::gap, input);
        }
        if (was && !now) spdlog::info("input \"{}\" is heard again", keeping_.settings.inputs[input].name);
    }
}

void InputLinks::open(MidiSystem& system, std::size_t input, const std::string& peer)
{
    for (const Link& link : links_)
        if (link.input == input && link.peer == peer) return;
    const std::optional<std::size_t> feed = free_feed();
    if (!feed) {
        keeping_.say_once("more than " + std::to_string(feeds_at_most) + " connected inputs; \"" + peer + "\" is left out");
        return;
    }
    Lines& lines = *keeping_.lines;
    lines.feeds[*feed].assign({static_cast<std::uint8_t>(input)});
    const std::string& name = keeping_.settings.inputs[input].name;
    Opened<InputPort> opened = system.open_input({keeping_.client_name(name, number(input, peer)), "in", peer}, lines.feeds[*feed]);
    if (!opened.port) {
        keeping_.say_once("input \"" + name + "\": " + opened.trouble);
        return;
    }
    (*feed_taken_)[*feed].store(true, std::memory_order_release);
    Names connected = system.connections(opened.port->real_name());
    spdlog::info("input \"{}\": {}", name,
                 peer.empty() ? "open as \"" + opened.port->real_name() + "\", connect your keyboard to it"
                              : "listening to \"" + peer + "\"");
    links_.push_back({input, peer, std::move(opened.port), *feed, std::move(connected)});
    // Our own port, open for others, does not bring a keyboard back that is listened to by its name.
    if (peer.empty() && !keeping_.settings.inputs[input].connect.empty()) return;
    if (lost_before_[input]) tell_engine(InputKind::port_back, input);
    lost_before_[input] = false;
}

std::optional<std::size_t> InputLinks::free_feed() const
{
    for (std::size_t i = 0; i < feeds_at_most; ++i)
        if (!(*feed_taken_)[i].load(std::memory_order_acquire)) return i;
    return std::nullopt;
}

// The feed is free when the port is destroyed, and with it the callback's thread.
void InputLinks::let_go(Link link)
{
    auto taken = feed_taken_;
    std::shared_ptr<InputPort> port = std::move(link.port);
    keeping_.undertaker.bury(std::shared_ptr<void>(port.get(), [port, taken, feed = link.feed, lines = keeping_.lines](void*) mutable {
        port.reset();
        (*taken)[feed].store(false, std::memory_order_release);
    }));
}

void InputLinks::system_lost()
{
    for (Link& link : links_) {
        tell_engine(InputKind::port_lost, link.input);
        if (!link.peer.empty() || keeping_.settings.inputs[link.input].connect.empty()) lost_before_[link.input] = true;
        let_go(std::move(link));
    }
    links_.clear();
}

void InputLinks::close_all()
{
    for (Link& link : links_) let_go(std::move(link));
    links_.clear();
}

void InputLinks::settings_changed()
{
    for (const Link& link : links_) tell_engine(InputKind::port_lost, link.input);
    close_all();
    lost_before_.assign(keeping_.settings.inputs.size(), false);
    unclear_.clear();
    keeping_.lines->looped_inputs.store(0, std::memory_order_release);
}

void InputLinks::gap_everywhere()
{
    for (std::size_t i = 0; i < keeping_.settings.inputs.size(); ++i) tell_engine(InputKind::gap, i);
}

void InputLinks::tell_engine(InputKind kind, std::size_t input)
{
    Lines& lines = *keeping_.lines;
    lines.from_ports.push({lines.clock.now(), {static_cast<std::uint8_t>(input)}, kind, {}});
    lines.engine_wake.ring();
}

std::size_t InputLinks::number(std::size_t input, const std::string& peer) const
{
    if (peer.empty()) return 1;
    const auto of_input = [input](const Link& link) { return link.input == input; };
    return static_cast<std::size_t>(std::count_if(links_.begin(), links_.end(), of_input)) + 1;
}

PortView::Port InputLinks::view(std::size_t input) const
{
    const InputSettings& settings = keeping_.settings.inputs[input];
    PortView::Port port{"in", settings.name, {}, {}};
    bool there = false;
    for (const Link& link : links_) {
        if (link.input != input) continue;
        there = there || settings.connect.empty() || !link.connected.empty();
        port.connected.insert(port.connected.end(), link.connected.begin(), link.connected.end());
        port.messages += keeping_.lines->feeds[link.feed].messages();
    }
    port.state = there ? "open" : lost_before_[input] ? "lost" : "waiting";
    if (input < unclear_.size() && !unclear_[input].empty()) port.note = unclear_[input].front();
    const std::uint32_t cut = keeping_.lines->looped_inputs.load() | keeping_.lines->counts.cut_inputs.load();
    if (there && (cut >> input & 1U) != 0) {
        port.state = "cut";
        port.note = "it brings our own output back";
    }
    return port;
}

} // namespace bowarm
