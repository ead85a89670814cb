#include "studio/port_keeper.hpp"

#include "midi/ports/library_lines.hpp"
#include "midi/ports/monotonic.hpp"
#include "studio/input_links.hpp"
#include "studio/output_links.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <optional>
#include <poll.h>
#include <thread>

namespace bowarm
{
namespace
{

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
        : open_(std::move(open)), bell_(std::make_shared<Wakeup>()), keeping_{settings, std::move(lines), Undertaker{bell_}, {}}
    {
    }

    void run()
    {
        while (!finishing_.load(std::memory_order_acquire)) {
            busy_since_ns_.store(monotonic_ns(), std::memory_order_release);
            take_new_settings();
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

    void adopt(const MidiSettings& settings)
    {
        {
            const std::lock_guard lock{mutex_};
            new_settings_ = settings;
        }
        bell_->ring();
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
    Duration closing_for() const { return keeping_.undertaker.busy_for(); }

    std::atomic<bool> playing_{false};
    std::atomic<std::int64_t> busy_since_ns_{0};

private:
    void sleep()
    {
        const std::int64_t now = monotonic_ns();
        std::int64_t wait_ms = 1000;
        if (outputs_.leaving()) wait_ms = 20;
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
        outputs_.reap();
        if (!system_ && !open_system()) return;
        if (system_->state() == SystemState::stalled) {
            keeping_.say_once("the MIDI server has stopped moving; nothing is sent until it goes on");
            return;
        }
        keeping_.said.erase("the MIDI server has stopped moving; nothing is sent until it goes on");
        inputs_.look(*system_, outputs_.real_names());
        if (system_->state() == SystemState::running) outputs_.look(*system_, playing_.load(std::memory_order_acquire));
    }

    bool open_system()
    {
        // Senders of the old server hand over their ports; with the last of them its state goes.
        if (keeping_.settings.system == "none" || !back_off_.due() || !keeping_.undertaker.idle() || outputs_.leaving()) return false;
        std::shared_ptr<MidiSystem> opened = open_(bell_);
        {
            const std::lock_guard lock{mutex_};
            system_ = opened;
        }
        if (!system_) {
            back_off_.failed();
            keeping_.say_once("no MIDI system (" + keeping_.settings.system +
                              "): waiting for one; start a JACK or PipeWire server, or plug in a MIDI device");
            return false;
        }
        back_off_.worked();
        keeping_.said.clear();
        const std::string version = system_->version();
        spdlog::info("MIDI over {}{}{}", system_->name(), version.empty() ? "" : " ", version);
        return true;
    }

    // Ports that stay as they were stay open.
    void take_new_settings()
    {
        std::optional<MidiSettings> settings;
        {
            const std::lock_guard lock{mutex_};
            settings.swap(new_settings_);
        }
        if (!settings) return;
        const bool other_inputs = settings->inputs != keeping_.settings.inputs,
                   other_outputs = settings->outputs != keeping_.settings.outputs;
        keeping_.settings.inputs = std::move(settings->inputs);
        keeping_.settings.outputs = std::move(settings->outputs);
        keeping_.said.clear();
        if (other_inputs) inputs_.settings_changed();
        if (other_outputs) outputs_.let_all_go();
    }

    // The system is gone, with every port of it.
    void drop_all()
    {
        inputs_.system_lost();
        outputs_.let_all_go();
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
        keeping_.undertaker.bury(std::move(old));
    }

    void close_all()
    {
        inputs_.close_all();
        outputs_.let_all_go();
        const std::int64_t until = monotonic_ns() + milliseconds(1700).ns;
        while (!outputs_.all_ended() && monotonic_ns() < until) std::this_thread::sleep_for(std::chrono::milliseconds(2));
        clean_ = outputs_.all_ended() && !outputs_.left_somebody_behind();
        outputs_.forget_leaving();
        release_system();
        const std::int64_t left = std::max<std::int64_t>(0, until - monotonic_ns());
        clean_ = keeping_.undertaker.done({left}) && clean_;
    }

    void log_library_lines()
    {
        for (const std::string& line : take_library_lines()) {
            spdlog::debug("MIDI library: {}", line);
            // The only sign that the kernel threw away what an ALSA input had not read.
            if (line.find("overrun") != std::string::npos && system_ && system_->name() != "jack") inputs_.gap_everywhere();
        }
    }

    SystemState system_state() const { return system_ ? system_->state() : SystemState::lost; }

    void publish()
    {
        PortView view;
        view.looked = true;
        if (system_) {
            view.system = system_->name();
            view.version = system_->version();
        }
        const MidiSettings& settings = keeping_.settings;
        for (std::size_t i = 0; i < settings.inputs.size(); ++i) add(view, inputs_.view(i), settings.inputs[i].optional);
        for (std::size_t i = 0; i < settings.outputs.size(); ++i)
            add(view, outputs_.view(i, system_ != nullptr), settings.outputs[i].optional);
        const std::lock_guard lock{mutex_};
        view_ = std::move(view);
    }

    void add(PortView& view, PortView::Port port, bool optional) const
    {
        if (system_ && system_->state() == SystemState::stalled) port.state = "stalled";
        if (!optional && port.state != "open") view.missing.push_back((port.role == "in" ? "input \"" : "output \"") + port.name + "\"");
        view.ports.push_back(std::move(port));
    }

    const OpenSystem open_;
    const std::shared_ptr<Wakeup> bell_;

    std::atomic<bool> finishing_{false};

    mutable std::mutex mutex_; // for what follows
    std::condition_variable finished_changed_;
    bool finished_{false};
    PortView view_;
    std::optional<MidiSettings> new_settings_;
    std::vector<std::weak_ptr<Sender>> senders_;
    int abandoned_{0};
    std::shared_ptr<MidiSystem> system_; // changed by the keeper's thread under the lock, read by it without

    // The keeper's thread alone.
    PortKeeping keeping_;
    BackOff back_off_;
    InputLinks inputs_{keeping_};
    OutputLinks outputs_{keeping_, {mutex_, senders_}};

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

void PortKeeper::adopt(const MidiSettings& settings) { work_->adopt(settings); }

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
