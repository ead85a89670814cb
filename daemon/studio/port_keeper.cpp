#include "studio/port_keeper.hpp"

#include "midi/ports/library_lines.hpp"
#include "midi/ports/monotonic.hpp"
#include "midi/ports/port_names.hpp"
#include "studio/sender.hpp"
#include "studio/undertaker.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <map>
#include <mutex>
#include <optional>
#include <poll.h>
#include <set>
#include <thread>

namespace bowarm
{
namespace
{

using Names = std::vector<std::string>;

bool holds(const Names& names, const std::string& name) { return std::find(names.begin(), names.end(), name) != names.end(); }

bool lacks_any(const Names& now, const Names& before)
{
    return std::any_of(before.begin(), before.end(), [&](const std::string& n) { return !holds(now, n); });
}

// Every wish of the list that is met, each name once.
Names wished(const Names& wishes, const Names& offered)
{
    Names found;
    for (const std::string& wish : wishes)
        for (const std::string& name : chosen(wish, offered))
            if (!holds(found, name)) found.push_back(name);
    return found;
}

std::string joined(const Names& names)
{
    std::string text;
    for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
    return text.empty() ? "nothing" : text;
}

struct InLink {
    std::size_t input{0}; // in the configuration
    std::string peer;     // empty: others connect
    std::unique_ptr<InputPort> port;
    std::size_t feed{0};
    Names connected;
};

struct OutLink {
    std::string peer;
    std::size_t slot{0};
    std::shared_ptr<Sender> sender;
    std::string real_name;
    Names connected;
};

// Waits longer after each failure: 0.25 s, doubled up to 5 s.
class BackOff
{
public:
    bool due() const { return monotonic_ns() >= next_ns_; }
    std::int64_t next_ns() const { return next_ns_; }
    void failed()
    {
        next_ns_ = monotonic_ns() + wait_.ns;
        wait_ = std::min(wait_ * 2, milliseconds(5000));
    }
    void worked()
    {
        wait_ = milliseconds(250);
        next_ns_ = 0;
    }

private:
    Duration wait_{milliseconds(250)};
    std::int64_t next_ns_{0};
};

} // namespace

class PortKeeper::Work : public std::enable_shared_from_this<Work>
{
public:
    Work(const MidiSettings& settings, std::shared_ptr<Lines> lines, OpenSystem open)
        : settings_(settings), lines_(std::move(lines)), open_(std::move(open)), bell_(std::make_shared<Wakeup>())
    {
        lost_before_.resize(settings_.inputs.size(), false);
    }

    void run()
    {
        while (!finishing_.load(std::memory_order_acquire)) {
            busy_since_ns_.store(monotonic_ns(), std::memory_order_release);
            look();
            busy_since_ns_.store(0, std::memory_order_release);
            publish();
            log_library_lines();
            sleep();
        }
        close_all();
        const std::lock_guard lock{mutex_};
        finished_ = true;
        finished_changed_.notify_all();
    }

    void finish()
    {
        finishing_.store(true, std::memory_order_release);
        bell_->ring();
    }
    bool wait_finished(Duration patience)
    {
        std::unique_lock lock{mutex_};
        return finished_changed_.wait_for(lock, std::chrono::nanoseconds{patience.ns}, [&] { return finished_; });
    }
    PortView view() const
    {
        const std::lock_guard lock{mutex_};
        PortView view = view_;
        // The thread may be held up by a stopped server: that much is known without it.
        if (system_state() == SystemState::stalled)
            for (PortView::Port& port : view.ports) port.state = "stalled";
        return view;
    }
    int abandon_stuck_senders()
    {
        const std::lock_guard lock{mutex_};
        for (const std::weak_ptr<Sender>& weak : senders_)
            if (const auto sender = weak.lock(); sender && sender->stuck() && sender->abandon()) ++abandoned_;
        return abandoned_;
    }

    bool is_stalled() const
    {
        const std::lock_guard lock{mutex_};
        return system_state() == SystemState::stalled;
    }
    Duration closing_for() const { return undertaker_.busy_for(); }

    std::atomic<bool> playing_{false};
    std::atomic<std::int64_t> busy_since_ns_{0};

private:
    void sleep()
    {
        const std::int64_t now = monotonic_ns();
        std::int64_t wait_ms = 1000;
        if (!leaving_.empty()) wait_ms = 20;
        if (!system_ && back_off_.next_ns() > now) wait_ms = std::clamp<std::int64_t>((back_off_.next_ns() - now) / 1'000'000 + 1, 1, 5000);
        pollfd bell{bell_->descriptor(), POLLIN, 0};
        if (::poll(&bell, 1, static_cast<int>(wait_ms)) > 0 && !finishing_.load(std::memory_order_acquire)) {
            // Ports seldom come alone: let their owner finish.
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
        bell_->clear();
    }

    void look()
    {
        if (system_ && system_->state() == SystemState::lost) {
            spdlog::warn("the {} server is gone; its keys are released, waiting for it to come back", system_->name());
            drop_all();
            back_off_.failed();
        }
        reap_senders();
        if (!system_ && !open_system()) return;
        if (system_->state() == SystemState::stalled) {
            say_once("the MIDI server has stopped moving; nothing is sent until it goes on");
            return;
        }
        said_.erase("the MIDI server has stopped moving; nothing is sent until it goes on");
        look_at_inputs();
        if (system_->state() == SystemState::running) look_at_outputs();
    }

    bool open_system()
    {
        // Senders of the old server hand over their ports; with the last of them its state goes.
        if (settings_.system == "none" || !back_off_.due() || !undertaker_.idle() || !leaving_.empty()) return false;
        std::shared_ptr<MidiSystem> opened = open_(bell_);
        {
            const std::lock_guard lock{mutex_};
            system_ = opened;
        }
        if (!system_) {
            back_off_.failed();
            say_once("no MIDI system (" + settings_.system +
                     "): waiting for one; start a JACK or PipeWire server, or plug in a MIDI device");
            return false;
        }
        back_off_.worked();
        said_.clear();
        const std::string version = system_->version();
        spdlog::info("MIDI over {}{}{}", system_->name(), version.empty() ? "" : " ", version);
        return true;
    }

    // Inputs.

    void look_at_inputs()
    {
        const Names sources = system_->sources();
        for (std::size_t i = in_links_.size(); i-- > 0;) {
            InLink& link = in_links_[i];
            const Names now = system_->connections(link.port->real_name());
            const bool gone = !link.peer.empty() && !holds(sources, link.peer);
            if (gone || lacks_any(now, link.connected)) tell_engine(InputKind::port_lost, link.input);
            link.connected = now;
            if (!gone) continue;
            spdlog::info("input \"{}\": \"{}\" is gone", settings_.inputs[link.input].name, link.peer);
            lost_before_[link.input] = true;
            let_go(std::move(link));
            in_links_.erase(in_links_.begin() + static_cast<std::ptrdiff_t>(i));
        }
        if (!undertaker_.idle()) return; // its bell will ring
        for (std::size_t input = 0; input < settings_.inputs.size(); ++input) {
            const InputSettings& wanted = settings_.inputs[input];
            if (wanted.virtual_port) open_input(input, {});
            const Names peers = wished(wanted.connect, sources);
            for (const std::string& peer : peers) open_input(input, peer);
            if (!wanted.connect.empty() && peers.empty())
                say_once("input \"" + wanted.name + "\" waits for " + joined(wanted.connect), "; seen: " + joined(sources));
        }
    }

    void open_input(std::size_t input, const std::string& peer)
    {
        for (const InLink& link : in_links_)
            if (link.input == input && link.peer == peer) return;
        const std::optional<std::size_t> feed = free_feed();
        if (!feed) {
            say_once("more than " + std::to_string(feeds_at_most) + " connected inputs; \"" + peer + "\" is left out");
            return;
        }
        lines_->feeds[*feed].assign({static_cast<std::uint8_t>(input)});
        const std::string& name = settings_.inputs[input].name;
        Opened<InputPort> opened = system_->open_input({client_name(name, in_number(input, peer)), "in", peer}, lines_->feeds[*feed]);
        if (!opened.port) {
            say_once("input \"" + name + "\": " + opened.trouble);
            return;
        }
        (*feed_taken_)[*feed].store(true, std::memory_order_release);
        Names connected = system_->connections(opened.port->real_name());
        spdlog::info("input \"{}\": {}", name,
                     peer.empty() ? "open as \"" + opened.port->real_name() + "\", connect your keyboard to it"
                                  : "listening to \"" + peer + "\"");
        in_links_.push_back({input, peer, std::move(opened.port), *feed, std::move(connected)});
        // Our own port, open for others, does not bring a keyboard back that is listened to by its name.
        if (peer.empty() && !settings_.inputs[input].connect.empty()) return;
        if (lost_before_[input]) tell_engine(InputKind::port_back, input);
        lost_before_[input] = false;
    }

    std::optional<std::size_t> free_feed() const
    {
        for (std::size_t i = 0; i < feeds_at_most; ++i)
            if (!(*feed_taken_)[i].load(std::memory_order_acquire)) return i;
        return std::nullopt;
    }

    // The feed is free when the port is destroyed, and with it the callback's thread.
    void let_go(InLink link)
    {
        auto taken = feed_taken_;
        std::shared_ptr<InputPort> port = std::move(link.port);
        undertaker_.bury(std::shared_ptr<void>(port.get(), [port, taken, feed = link.feed, lines = lines_](void*) mutable {
            port.reset();
            (*taken)[feed].store(false, std::memory_order_release);
        }));
    }

    void tell_engine(InputKind kind, std::size_t input)
    {
        lines_->from_ports.push({lines_->clock.now(), {static_cast<std::uint8_t>(input)}, kind, {}});
        lines_->engine_wake.ring();
    }

    // Outputs.

    void look_at_outputs()
    {
        const Names destinations = system_->destinations();
        for (std::size_t i = out_links_.size(); i-- > 0;) {
            OutLink& link = out_links_[i];
            const bool gone = !link.peer.empty() && !holds(destinations, link.peer);
            const bool dead = link.sender->failed() || link.sender->ended() || link.sender->abandoned();
            if (!gone && !dead) {
                watch_listeners(link);
                continue;
            }
            spdlog::warn("output \"{}\": {}", settings_.output.name,
                         gone ? "\"" + link.peer + "\" is gone" : std::string{"the port failed and is opened anew"});
            let_go(link);
            out_links_.erase(out_links_.begin() + static_cast<std::ptrdiff_t>(i));
        }
        reap_senders();
        if (!undertaker_.idle() || !leaving_.empty()) return;
        const OutputSettings& wanted = settings_.output;
        if (wanted.virtual_port) open_output({});
        const Names peers = wished(wanted.connect, destinations);
        for (const std::string& peer : peers) open_output(peer);
        if (!wanted.connect.empty() && peers.empty())
            say_once("output \"" + wanted.name + "\" waits for " + joined(wanted.connect), "; seen: " + joined(destinations));
    }

    // Someone who connects now has missed everything so far.
    void watch_listeners(OutLink& link)
    {
        const Names now = system_->connections(link.real_name);
        if (lacks_any(link.connected, now) && playing_.load(std::memory_order_acquire)) {
            lines_->outs[link.slot].wants_state.store(true, std::memory_order_release);
            lines_->engine_wake.ring();
        }
        link.connected = now;
    }

    void open_output(const std::string& peer)
    {
        const auto is_peer = [&](const OutLink& link) { return link.peer == peer; };
        if (std::any_of(out_links_.begin(), out_links_.end(), is_peer) || std::any_of(leaving_.begin(), leaving_.end(), is_peer)) return;
        const std::optional<std::size_t> slot = free_slot();
        if (!slot) {
            say_once("more than " + std::to_string(outs_at_most) + " outputs; \"" + peer + "\" is left out");
            return;
        }
        const std::string& name = settings_.output.name;
        Opened<OutputPort> opened = system_->open_output({client_name(name, out_number(peer)), "out", peer});
        if (!opened.port) {
            say_once("output \"" + name + "\": " + opened.trouble);
            return;
        }
        const std::string real_name = opened.port->real_name();
        Names connected = system_->connections(real_name);
        spdlog::info("output \"{}\": {}", name,
                     peer.empty() ? "open as \"" + real_name + "\", connect it to your sampler" : "playing to \"" + peer + "\"");
        if (!cautioned_) spdlog::info("turn the headphones down before the first note: the sampler's level is not known here");
        cautioned_ = true;
        auto sender = Sender::make(
            std::move(opened.port), lines_->outs[*slot], sounding_[peer], playing_.load(std::memory_order_acquire),
            [undertaker = undertaker_](std::unique_ptr<OutputPort> port) mutable {
                undertaker.bury(std::shared_ptr<OutputPort>{std::move(port)});
            },
            lines_);
        {
            const std::lock_guard lock{mutex_};
            std::erase_if(senders_, [](const std::weak_ptr<Sender>& s) { return s.expired(); });
            senders_.push_back(sender);
        }
        out_links_.push_back({peer, *slot, std::move(sender), real_name, std::move(connected)});
        was_open_ = true;
    }

    std::optional<std::size_t> free_slot() const
    {
        for (std::size_t i = 0; i < outs_at_most; ++i) {
            const auto has_slot = [i](const OutLink& link) { return link.slot == i; };
            if (std::none_of(out_links_.begin(), out_links_.end(), has_slot) && std::none_of(leaving_.begin(), leaving_.end(), has_slot))
                return i;
        }
        return std::nullopt;
    }

    void let_go(const OutLink& link)
    {
        link.sender->finish();
        leaving_.push_back(link);
    }

    // A slot is free again when its sender is through with it; what then still sounds there is kept for the next.
    void reap_senders()
    {
        std::erase_if(leaving_, [this](const OutLink& link) {
            if (!link.sender->ended() && !link.sender->abandoned()) return false;
            sounding_[link.peer] = link.sender->sounding();
            return true;
        });
    }

    // The system is gone, with every port of it.
    void drop_all()
    {
        for (InLink& link : in_links_) {
            tell_engine(InputKind::port_lost, link.input);
            if (!link.peer.empty() || settings_.inputs[link.input].connect.empty()) lost_before_[link.input] = true;
            let_go(std::move(link));
        }
        in_links_.clear();
        for (const OutLink& link : out_links_) let_go(link);
        out_links_.clear();
        release_system();
    }

    void release_system()
    {
        std::shared_ptr<MidiSystem> old;
        {
            const std::lock_guard lock{mutex_};
            old = std::move(system_);
            system_.reset();
        }
        undertaker_.bury(std::move(old));
    }

    void close_all()
    {
        for (InLink& link : in_links_) let_go(std::move(link));
        in_links_.clear();
        for (const OutLink& link : out_links_) let_go(link);
        out_links_.clear();
        const std::int64_t until = monotonic_ns() + milliseconds(1700).ns;
        const auto all_ended = [this] {
            return std::all_of(leaving_.begin(), leaving_.end(), [](const OutLink& link) { return link.sender->ended(); });
        };
        while (!all_ended() && monotonic_ns() < until) std::this_thread::sleep_for(std::chrono::milliseconds(2));
        clean_ = all_ended();
        leaving_.clear();
        release_system();
        const std::int64_t left = std::max<std::int64_t>(0, until - monotonic_ns());
        clean_ = undertaker_.done({left}) && clean_;
    }

    // Names of our clients: the first of a configured port is plain, further ones are numbered.

    std::string client_name(const std::string& name, std::size_t number) const
    {
        return settings_.client + " " + name + (number < 2 ? "" : " " + std::to_string(number));
    }
    std::size_t in_number(std::size_t input, const std::string& peer) const
    {
        if (peer.empty()) return 1;
        const auto of_input = [input](const InLink& link) { return link.input == input; };
        return static_cast<std::size_t>(std::count_if(in_links_.begin(), in_links_.end(), of_input)) + 1;
    }
    std::size_t out_number(const std::string& peer) const { return peer.empty() ? 1 : out_links_.size() + 1; }

    // Telling others.

    // What is seen beside it may change as often as it likes.
    void say_once(const std::string& text, const std::string& detail = {})
    {
        if (said_.insert(text).second) spdlog::info("{}{}", text, detail);
    }

    void log_library_lines()
    {
        for (const std::string& line : take_library_lines()) {
            spdlog::debug("MIDI library: {}", line);
            // The only sign that the kernel threw away what an ALSA input had not read.
            if (line.find("overrun") == std::string::npos || !system_ || system_->name() == "jack") continue;
            for (std::size_t i = 0; i < settings_.inputs.size(); ++i) tell_engine(InputKind::gap, i);
        }
    }

    SystemState system_state() const { return system_ ? system_->state() : SystemState::lost; }

    std::string state_word(bool there, bool lost) const
    {
        if (system_ && system_->state() == SystemState::stalled) return "stalled";
        if (there) return "open";
        return lost ? "lost" : "waiting";
    }

    void publish()
    {
        PortView view;
        view.looked = true;
        if (system_) {
            view.system = system_->name();
            view.version = system_->version();
        }
        for (std::size_t i = 0; i < settings_.inputs.size(); ++i) view.ports.push_back(input_view(i));
        view.ports.push_back(output_view());
        find_missing(view);
        const std::lock_guard lock{mutex_};
        view_ = std::move(view);
    }

    PortView::Port input_view(std::size_t input) const
    {
        const InputSettings& settings = settings_.inputs[input];
        PortView::Port port{"in", settings.name, {}, {}, 0, 0};
        bool there = false;
        for (const InLink& link : in_links_) {
            if (link.input != input) continue;
            there = there || settings.connect.empty() || !link.connected.empty();
            port.connected.insert(port.connected.end(), link.connected.begin(), link.connected.end());
            port.messages += lines_->feeds[link.feed].messages();
        }
        port.state = state_word(there, lost_before_[input]);
        return port;
    }

    PortView::Port output_view() const
    {
        PortView::Port port{"out", settings_.output.name, {}, {}, 0, 0};
        bool there = false;
        for (const OutLink& link : out_links_) {
            there = there || settings_.output.connect.empty() || !link.connected.empty();
            port.connected.insert(port.connected.end(), link.connected.begin(), link.connected.end());
        }
        for (const OutQueue& out : lines_->outs) {
            port.messages += out.sent.load(std::memory_order_relaxed);
            port.dropped += out.dropped.load(std::memory_order_relaxed);
        }
        port.state = state_word(there, !system_ && was_open_);
        return port;
    }

    void find_missing(PortView& view) const
    {
        for (std::size_t i = 0; i < settings_.inputs.size(); ++i)
            if (!settings_.inputs[i].optional && view.ports[i].state != "open")
                view.missing.push_back("input \"" + settings_.inputs[i].name + "\"");
        if (!settings_.output.optional && view.ports.back().state != "open")
            view.missing.push_back("output \"" + settings_.output.name + "\"");
    }

    const MidiSettings settings_;
    const std::shared_ptr<Lines> lines_;
    const OpenSystem open_;
    const std::shared_ptr<Wakeup> bell_;

    // The keeper's thread alone.
    BackOff back_off_;
    std::vector<InLink> in_links_;
    std::vector<OutLink> out_links_, leaving_;
    std::map<std::string, Sounding> sounding_; // by peer: what the last sender left sounding there
    std::vector<bool> lost_before_;            // by input
    std::set<std::string> said_;
    bool cautioned_{false};
    bool was_open_{false}; // the output, at least once
    Undertaker undertaker_{bell_};
    const std::shared_ptr<std::array<std::atomic<bool>, feeds_at_most>> feed_taken_ =
        std::make_shared<std::array<std::atomic<bool>, feeds_at_most>>();

    std::atomic<bool> finishing_{false};

    mutable std::mutex mutex_; // for what follows
    std::condition_variable finished_changed_;
    bool finished_{false};
    PortView view_;
    std::vector<std::weak_ptr<Sender>> senders_;
    int abandoned_{0};
    std::shared_ptr<MidiSystem> system_; // changed by the keeper's thread under the lock, read by it without

public:
    bool clean_{false}; // after finished: everything was closed in time
};

PortKeeper::PortKeeper(const MidiSettings& settings, std::shared_ptr<Lines> lines, OpenSystem open)
    : work_(std::make_shared<Work>(settings, std::move(lines), std::move(open)))
{
}

PortKeeper::~PortKeeper() { work_->finish(); }

void PortKeeper::start()
{
    std::thread{[work = work_] { work->run(); }}.detach();
}

void PortKeeper::playing() noexcept { work_->playing_.store(true, std::memory_order_release); }

PortView PortKeeper::view() const { return work_->view(); }

int PortKeeper::abandon_stuck_senders() { return work_->abandon_stuck_senders(); }

Duration PortKeeper::busy_for() const
{
    const std::int64_t since = work_->busy_since_ns_.load(std::memory_order_acquire);
    const Duration looking{since == 0 ? 0 : monotonic_ns() - since};
    // A stopped server holds a closing up for as long as it stands, and that is no fault.
    return work_->is_stalled() ? looking : std::max(looking, work_->closing_for());
}

bool PortKeeper::finish(Duration patience)
{
    work_->finish();
    return work_->wait_finished(patience) && work_->clean_;
}

} // namespace bowarm
