#include "studio/service.hpp"

#include "midi/ports/monotonic.hpp"
#include "status/status.hpp"
#include "studio/build_id.hpp"
#include "studio/engine_thread.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/logging.hpp"
#include "studio/notify.hpp"
#include "studio/progress.hpp"
#include "studio/take_desk.hpp"
#include "studio/take_writer.hpp"
#include "studio/version.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <ctime>
#include <sys/mman.h>
#include <thread>
#include <unistd.h>

namespace bowarm
{
namespace
{

constexpr int exit_fine = 0;
constexpr int exit_unavailable = 69;
constexpr int exit_input_output = 74;

// How long the start waits for the ports to be looked at once.
constexpr Duration first_look = milliseconds(3000);
constexpr Duration keeper_hangs_after = milliseconds(30'000);
constexpr Duration closing_at_most = milliseconds(1900);
constexpr Duration tick_every = milliseconds(1000);
constexpr Duration tick_slack = milliseconds(50); // ticks come a little late

PortState to_port_state(const PortView::Port& port)
{
    PortState state;
    state.role = port.role;
    state.name = port.name;
    state.state = port.state;
    state.connected = port.connected;
    state.messages = port.messages;
    state.dropped = port.dropped;
    return state;
}

std::string joined(const std::vector<std::string>& texts)
{
    std::string all;
    for (const std::string& text : texts) all += (all.empty() ? "" : ", ") + text;
    return all;
}

} // namespace

class Service::House final : public StatusSource
{
public:
    explicit House(ServiceWish wish)
        : wish_(std::move(wish)), lines_(std::make_shared<Lines>()), started_ns_(monotonic_ns()),
          engine_(LiveEngine{Player{wish_.settings.player}, script(), *lines_}, *lines_),
          keeper_(wish_.settings.midi, lines_, wish_.open_system), signals_(io_, SIGINT, SIGTERM, SIGHUP), tick_(io_),
          engine_news_(io_, ::dup(lines_->service_wake.descriptor()))
    {
        if (wish_.status.socket.empty()) return;
        status_.emplace(io_, wish_.status, *this);
        if (wish_.status.tcp_port != 0)
            spdlog::info("status, too, on 127.0.0.1:{}, for those who know {}", wish_.status.tcp_port, wish_.status.token_file.string());
    }

    int run()
    {
        wait_for_signal();
        wait_for_engine_news();
        start_takes();
        keeper_.start();
        code_ = look_for_what_is_needed();
        if (code_ == exit_fine) {
            engine_.start();
            keeper_.playing();
            lock_memory();
            state_ = state_words();
            spdlog::info("ready: {}", state_);
            notify_.ready(state_);
            wait_for_tick();
            io_.run();
        }
        return close_down();
    }

    // StatusSource

    std::size_t player_count() const override { return 1; }
    Snapshot snapshot(std::size_t) override
    {
        lines_->snapshot.read(snapshot_);
        return snapshot_;
    }
    ServiceState service() override
    {
        const PortView ports = keeper_.view();
        ServiceState state;
        state.midi_system = ports.system;
        state.version = version;
        state.running_s = static_cast<double>(monotonic_ns() - started_ns_) * 1e-9;
        state.take_folder = wish_.take_folder.string();
        if (takes_) state.take_problem = takes_->problem();
        for (const PortView::Port& port : ports.ports) state.ports.push_back(to_port_state(port));
        state.inputs = lines_->counts.inputs.load();
        state.lost_inputs = lines_->counts.lost_inputs.load();
        state.latest_wake_ns = lines_->counts.latest_wake_ns.load();
        return state;
    }
    bool command(std::size_t, Command command, std::uint8_t argument) override
    {
        const bool taken = lines_->from_service.push(command_input(lines_->clock.now(), command, argument));
        lines_->engine_wake.ring();
        return taken;
    }
    void want_facts(bool wanted) override
    {
        lines_->facts.want(wanted);
        Fact left_over;
        while (!wanted && lines_->facts.pop(left_over)) {
        }
    }
    bool next_fact(PlayerFact& told) override { return lines_->facts.pop(told.fact); }
    std::uint64_t take_lost_facts() override { return lines_->facts.take_lost(); }
    TakeDesk* takes() override { return take_desk_ ? &*take_desk_ : nullptr; }
    Reloading reload() override
    {
        notify_.reloading();
        const Reloading outcome{false, {"reload is not done while running; restart the service to read the configuration again"}};
        for (const std::string& reason : outcome.reasons) spdlog::warn("{}", reason);
        notify_.ready(state_);
        return outcome;
    }
    void log_level(std::string_view level) override
    {
        set_log_level(level);
        spdlog::info("the log tells {} from now on", level);
    }

private:
    template <std::size_t N> static std::string name_of(const std::array<char, N>& characters)
    {
        const std::string_view all{characters.data(), N};
        return std::string{all.substr(0, all.find('\0'))};
    }

    std::span<const Input> script() const { return wish_.script ? std::span<const Input>{*wish_.script} : std::span<const Input>{}; }

    void start_takes()
    {
        TakeWish takes{wish_.take_folder, wish_.settings.take.silence, wish_.script.has_value(), wish_.settings.player};
        takes.journal = JournalHead{std::time(nullptr), Time{-1}, build_id(), std::string{version}, texts_of(wish_.settings)};
        takes.quota = {wish_.settings.take.keep_at_most, wish_.settings.take.megabytes_at_most};
        takes.left_over = std::move(wish_.left_over);
        takes_.emplace(std::move(takes), *lines_);
        if (wish_.take_folder.empty()) return;
        take_desk_.emplace(*takes_, wish_.take_folder, [this](Command asked) { command(0, asked, 0); });
        if (takes_->problem().empty()) spdlog::info("takes are kept in {}", wish_.take_folder.string());
    }

    // A file can be played without any MIDI system; everything else needs what the configuration calls needed.
    int look_for_what_is_needed()
    {
        const std::int64_t until = monotonic_ns() + first_look.ns;
        PortView view = keeper_.view();
        while (!view.looked && monotonic_ns() < until) {
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
            view = keeper_.view();
        }
        if (view.missing.empty()) return exit_fine;
        if (wish_.script && view.system == "none") return exit_fine;
        spdlog::error("needed and not there: {} (MIDI system: {}); see `bowarmd ports`, or set optional = true to wait",
                      joined(view.missing), view.system);
        return exit_unavailable;
    }

    void wait_for_signal()
    {
        signals_.async_wait([this](const boost::system::error_code& trouble, int signal) {
            if (trouble) return;
            if (signal == SIGHUP) {
                reload();
                wait_for_signal();
                return;
            }
            spdlog::info("told to stop by signal {}", signal);
            io_.stop();
        });
    }

    // The engine rings when the script has been played.
    void wait_for_engine_news()
    {
        engine_news_.async_wait(boost::asio::posix::stream_descriptor::wait_read, [this](const boost::system::error_code& trouble) {
            if (trouble) return;
            lines_->service_wake.clear();
            if (lines_->counts.script_over.load() && !over_said_) end_of_script();
            wait_for_engine_news();
        });
    }

    void end_of_script()
    {
        over_said_ = true;
        progress_.end();
        takes_->session_over();
        if (!wish_.stay) {
            spdlog::info("the file has been played");
            io_.stop();
        } else {
            spdlog::info("the file has been played; staying");
        }
    }

    void wait_for_tick()
    {
        tick_.expires_after(std::chrono::nanoseconds{std::min(tick_every, notify_.alive_every().value_or(tick_every)).ns});
        tick_.async_wait([this](const boost::system::error_code& trouble) {
            if (trouble) return;
            look_after_threads();
            say_priority_once();
            tell_the_manager();
            if (wish_.script && !over_said_) progress_.show(lines_->clock.now(), snapshot(0));
            wait_for_tick();
        });
    }

    void look_after_threads()
    {
        const int abandoned = keeper_.abandon_stuck_senders();
        if (abandoned > abandoned_) spdlog::error("a send did not come back for a quarter of a second: its port was given up");
        abandoned_ = abandoned;
        const bool hangs = keeper_.busy_for() > keeper_hangs_after;
        if (hangs) spdlog::error("the MIDI system has not answered for {} s", keeper_.busy_for().ns / 1'000'000'000);
        if (abandoned < 2 && !hangs) return;
        spdlog::error("ending, so that the service manager can start afresh");
        code_ = exit_unavailable;
        io_.stop();
    }

    // The watchdog is fed by the service for both: this runs on the service thread, and only when the engine has answered its
    // bell since the last time.
    void tell_the_manager()
    {
        if (std::string now = state_words(); now != state_) {
            state_ = std::move(now);
            notify_.status(state_);
        }
        if (!notify_.alive_every()) return;
        const std::int64_t now_ns = monotonic_ns();
        if (now_ns < feed_at_ns_) return;
        const std::uint64_t turns = engine_.turns();
        if (turns == turns_at_bell_) return;
        turns_at_bell_ = turns;
        notify_.alive();
        lines_->engine_wake.ring();
        feed_at_ns_ = now_ns + notify_.alive_every()->ns - tick_slack.ns;
    }

    // "violin for general-midi; in keys open, out sampler waiting".
    std::string state_words() const
    {
        std::string words = name_of(wish_.settings.player.instrument.name) + " for " + name_of(wish_.settings.player.target.name);
        const char* before = "; ";
        for (const PortView::Port& port : keeper_.view().ports) {
            words += before + port.role + " " + port.name + " " + port.state;
            before = ", ";
        }
        return words;
    }

    // What the engine uses is there before it starts, so what is mapped now is all it needs; what the others map later stays free, since
    // a limit that is reached would take memory away from them.
    void lock_memory() { memory_locked_ = ::mlockall(MCL_CURRENT | MCL_ONFAULT) == 0; }

    void say_priority_once()
    {
        const int priority = lines_->counts.real_time_priority.load();
        if (priority_said_ || priority < 0) return;
        priority_said_ = true;
        const std::string real_time = priority > 0 ? "real-time priority " + std::to_string(priority) : "no real-time priority";
        const bool all = priority > 0 && memory_locked_;
        spdlog::info("the engine runs with {} and {}{}", real_time, memory_locked_ ? "its memory locked" : "no memory locked",
                     all ? "" : "; that will do, and limits.conf(5), rtprio and memlock, gives steadier timing");
    }

    // Silence first, then the files, then whatever the MIDI system makes of being left.
    int close_down()
    {
        notify_.stopping("silencing, closing ports, writing the take");
        progress_.end();
        if (lines_->counts.real_time_priority.load() >= 0) {
            if (!over_said_) command(0, Command::panic, 0);
            engine_.caught_up(milliseconds(200));
        }
        const bool closed = keeper_.finish(closing_at_most);
        engine_.stop();
        const bool kept = takes_->finish();
        status_.reset();
        if (!kept && code_ == exit_fine) code_ = exit_input_output;
        if (!closed) {
            spdlog::warn("the MIDI system does not let go; leaving it behind");
            spdlog::default_logger()->flush();
            // A thread inside the MIDI library may never come back, and would use what a return destroys.
            ::_exit(code_);
        }
        return code_;
    }

    ServiceWish wish_;
    std::shared_ptr<Lines> lines_;
    std::int64_t started_ns_;
    EngineThread engine_;
    PortKeeper keeper_;
    std::optional<TakeWriter> takes_;
    std::optional<Takes> take_desk_; // empty: takes are not kept
    Notify notify_;
    boost::asio::io_context io_;
    boost::asio::signal_set signals_;
    boost::asio::steady_timer tick_;
    boost::asio::posix::stream_descriptor engine_news_;
    std::optional<StatusServer> status_;
    Snapshot snapshot_;
    Progress progress_;
    int code_{exit_fine};
    int abandoned_{0};
    bool over_said_{false};
    bool priority_said_{false};
    bool memory_locked_{false};
    std::string state_; // as last told
    std::uint64_t turns_at_bell_{0};
    std::int64_t feed_at_ns_{0};
};

Service::Service(ServiceWish wish) : house_(std::make_unique<House>(std::move(wish))) {}
Service::~Service() = default;
int Service::run() { return house_->run(); }

} // namespace bowarm
