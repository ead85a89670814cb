#include "studio/output_links.hpp"

#include <spdlog/spdlog.h>

namespace bowarm
{

void OutputLinks::look(MidiSystem& system, bool playing)
{
    const Names destinations = system.destinations();
    look_at_links(system, destinations, playing);
    reap();
    const auto& outputs = keeping_.settings.outputs;
    unclear_.resize(outputs.size());
    for (std::size_t output = 0; output < outputs.size(); ++output) unclear_[output] = met(outputs[output].connect, destinations).unclear;
    if (!keeping_.undertaker.idle() || leaving()) return;
    for (std::size_t output = 0; output < outputs.size(); ++output) {
        const OutputSettings& wanted = outputs[output];
        if (wanted.virtual_port) open(system, output, {}, playing);
        const Names peers = met(wanted.connect, destinations).names;
        for (const std::string& peer : peers) open(system, output, peer, playing);
        for (const std::string& why : unclear_[output]) keeping_.say_once("output \"" + wanted.name + "\": " + why);
        if (!wanted.connect.empty() && peers.empty() && unclear_[output].empty())
            keeping_.say_once("output \"" + wanted.name + "\" waits for " + joined(wanted.connect), "; seen: " + joined(destinations));
    }
}

void OutputLinks::look_at_links(MidiSystem& system, const Names& destinations, bool playing)
{
    for (std::size_t i = links_.size(); i-- > 0;) {
        Link& link = links_[i];
        const bool gone = !link.peer.empty() && !holds(destinations, link.peer);
        const bool dead = link.sender->failed() || link.sender->ended() || link.sender->abandoned();
        if (!gone && !dead) {
            watch_listeners(system, link, playing);
            continue;
        }
        spdlog::warn("output \"{}\": {}", link.name,
                     gone ? "\"" + link.peer + "\" is gone" : std::string{"the port failed and is opened anew"});
        let_go(link);
        links_.erase(links_.begin() + static_cast<std::ptrdiff_t>(i));
    }
}

// Someone who connects now has missed everything so far.
void OutputLinks::watch_listeners(MidiSystem& system, Link& link, bool playing)
{
    const Names now = system.connections(link.real_name);
    if (lacks_any(link.connected, now) && playing) {
        keeping_.lines->outs[link.slot].ask_for_state();
    }
    link.connected = now;
}

void OutputLinks::open(MidiSystem& system, std::size_t output, const std::string& peer, bool playing)
{
    const OutputSettings& wanted = keeping_.settings.outputs[output];
    const auto is_same = [&](const Link& link) { return link.name == wanted.name && link.peer == peer; };
    if (std::any_of(links_.begin(), links_.end(), is_same)) return;
    const std::optional<std::size_t> slot = free_slot();
    if (!slot) {
        keeping_.say_once("more than " + std::to_string(outs_at_most) + " outputs; \"" + peer + "\" is left out");
        return;
    }
    Opened<OutputPort> opened = system.open_output({keeping_.client_name(wanted.name, number(output, peer)), "out", peer});
    if (!opened.port) {
        keeping_.say_once("output \"" + wanted.name + "\": " + opened.trouble);
        return;
    }
    const std::string real_name = opened.port->real_name();
    Names connected = system.connections(real_name);
    spdlog::info("output \"{}\": {}", wanted.name,
                 peer.empty() ? "open as \"" + real_name + "\", connect it to your sampler" : "playing to \"" + peer + "\"");
    if (!cautioned_) spdlog::info("turn the headphones down before the first note: the sampler's level is not known here");
    cautioned_ = true;
    OutQueue& queue = keeping_.lines->outs[*slot];
    queue.output.store(static_cast<std::uint8_t>(output), std::memory_order_release);
    auto sender = Sender::make(
        std::move(opened.port), queue, sounding_[{wanted.name, peer}], playing || wanted.marked,
        [undertaker = keeping_.undertaker](std::unique_ptr<OutputPort> port) mutable {
            undertaker.bury(std::shared_ptr<OutputPort>{std::move(port)});
        },
        keeping_.lines);
    {
        const std::lock_guard lock{listed_.mutex};
        std::erase_if(listed_.senders, [](const std::weak_ptr<Sender>& s) { return s.expired(); });
        listed_.senders.push_back(sender);
    }
    links_.push_back({output, peer, *slot, std::move(sender), real_name, std::move(connected), wanted.name});
    was_open_.insert(wanted.name);
}

std::optional<std::size_t> OutputLinks::free_slot() const
{
    for (std::size_t i = 0; i < outs_at_most; ++i) {
        const auto has_slot = [i](const Link& link) { return link.slot == i; };
        if (std::none_of(links_.begin(), links_.end(), has_slot) && std::none_of(leaving_.begin(), leaving_.end(), has_slot)) return i;
    }
    return std::nullopt;
}

void OutputLinks::let_go(const Link& link)
{
    link.sender->finish();
    leaving_.push_back(link);
}

// A slot is free again when its sender is through with it; what then still sounds there is kept for the next.
void OutputLinks::reap()
{
    std::erase_if(leaving_, [this](const Link& link) {
        if (!link.sender->ended() && !link.sender->abandoned()) return false;
        sounding_[{link.name, link.peer}] = link.sender->sounding();
        if (link.sender->abandoned()) given_up_.push_back(link);
        return true;
    });
    clear_up_late_sends();
}

// A given-up send came back, and its port is gone: what it brought stands at the target behind all that was sent there since.
void OutputLinks::clear_up_late_sends()
{
    std::erase_if(given_up_, [this](const Link& late) {
        if (!late.sender->ended() || !keeping_.undertaker.idle()) return false;
        for (const Link& link : links_)
            if (link.name == late.name && link.peer == late.peer) keeping_.lines->outs[link.slot].start_over();
        return true;
    });
}

void OutputLinks::let_all_go()
{
    for (const Link& link : links_) let_go(link);
    links_.clear();
}

bool OutputLinks::all_ended() const
{
    return std::all_of(leaving_.begin(), leaving_.end(), [](const Link& link) { return link.sender->ended(); });
}

bool OutputLinks::left_somebody_behind() const
{
    return std::any_of(given_up_.begin(), given_up_.end(), [](const Link& link) { return !link.sender->ended(); });
}

Names OutputLinks::real_names() const
{
    Names names;
    for (const Link& link : links_) names.push_back(link.real_name);
    return names;
}

std::size_t OutputLinks::number(std::size_t output, const std::string& peer) const
{
    if (peer.empty()) return 1;
    const auto of_output = [output](const Link& link) { return link.output == output; };
    return static_cast<std::size_t>(std::count_if(links_.begin(), links_.end(), of_output)) + 1;
}

PortView::Port OutputLinks::view(std::size_t output, bool system_there) const
{
    const OutputSettings& settings = keeping_.settings.outputs[output];
    PortView::Port port{"out", settings.name, {}, {}};
    bool there = false;
    for (const Link& link : links_) {
        if (link.name != settings.name) continue;
        there = there || settings.connect.empty() || !link.connected.empty();
        port.connected.insert(port.connected.end(), link.connected.begin(), link.connected.end());
    }
    for (const OutQueue& out : keeping_.lines->outs) {
        if (out.output.load(std::memory_order_relaxed) != output) continue;
        port.messages += out.sent.load(std::memory_order_relaxed);
        port.dropped += out.dropped.load(std::memory_order_relaxed);
    }
    port.state = there ? "open" : !system_there && was_open_.contains(settings.name) ? "lost" : "waiting";
    if (output < unclear_.size() && !unclear_[output].empty()) port.note = unclear_[output].front();
    return port;
}

} // namespace bowarm
