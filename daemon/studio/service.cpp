#include "studio/service.hpp"

#include "midi/ports/monotonic.hpp"
#include "status/status.hpp"
#include "studio/engine_thread.hpp"
#include "studio/progress.hpp"
#include "studio/take_writer.hpp"
#include "studio/version.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <spdlog/spdlog.h>

#include <chrono>
#include <csignal>
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

PortState to_port_state(const PortView::Port& port)
{
    PortState state;
    state.role = port.role;
    state.name = port.name;
    state.state = port.state;
    state.connected = port.connected;
    state.messages = port.messages;
    state.dropped = port.dropped;
    state.note = port.note;
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
          engine_(LiveEngine{ensemble_of(wish_.settings, *lines_), script(), *lines_}, *lines_),
          keeper_(wish_.settings.midi, lines_, wish_.open_system), signals_(io_, SIGINT, SIGTERM, SIGHUP), tick_(io_),
          engine_news_(io_, ::dup(lines_->service_wake.descriptor()))
    {
        tell_of_players();
        if (!wish_.socket.empty()) status_.emplace(io_, StatusOptions{wish_.socket, 16}, *this);
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
            spdlog::info("ready: {} for {}", name_of(wish_.settings.player.instrument.name), name_of(wish_.settings.player.target.name));
            wait_for_tick();
            io_.run();
        }
        return close_down();
    }

    // StatusSource

    std::size_t player_count() const override { return wish_.settings.players.size(); }
    Snapshot snapshot(std::size_t player) override
    {
        lines_->snapshots[player].read(snapshots_[player]);
        return snapshots_[player];
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
        state.under_hands = static_cast<std::size_t>(lines_->counts.under_hands.load());
        return state;
    }
    bool command(Command command, std::uint8_t argument) override
    {
        const bool taken = lines_->from_service.push(command_input(lines_->clock.now(), command, argument));
        lines_->engine_wake.ring();
        return taken;
    }
    // What is refused changes nothing.
    Reloading reload() override
    {
        const auto refuse = [](std::vector<std::string> reasons) {
            for (const std::string& reason : reasons) spdlog::error("reload refused, the old configuration stays: {}", reason);
            return Reloading{false, std::move(reasons)};
        };
        if (!wish_.read_again || wish_.script) return refuse({"a file is being played; restart with the new configuration"});
        Loaded loaded = wish_.read_again();
        if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded)) {
            std::vector<std::string> reasons;
            for (const Problem& problem : *problems) reasons.push_back(problem.line());
            return refuse(std::move(reasons));
        }
        Settings& settings = std::get<Settings>(loaded);
        const MidiSettings &now = wish_.settings.midi, &next = settings.midi;
        if (next.system != now.system || next.client != now.client)
            return refuse({"[midi] system and client hold from start to end; restart the service to change them"});
        auto players = ensemble_of(settings, *lines_);
        coming_ = std::move(settings);
        const std::unique_ptr<Ensemble> overtaken{lines_->offered.exchange(players.release(), std::memory_order_acq_rel)};
        lines_->engine_wake.ring();
        return {true, {}};
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
        takes_.emplace(TakeWish{wish_.take_folder, wish_.settings.take.silence, wish_.script.has_value(), wish_.settings.player}, *lines_);
        if (!wish_.take_folder.empty() && takes_->problem().empty()) spdlog::info("takes are kept in {}", wish_.take_folder.string());
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
            take_over_reloaded();
            say_cuts();
            if (lines_->counts.script_over.load() && !over_said_) end_of_script();
            wait_for_engine_news();
        });
    }

    // The engine has exchanged its players: the rest of the house follows.
    void take_over_reloaded()
    {
        const std::unique_ptr<Ensemble> old{lines_->retired.exchange(nullptr, std::memory_order_acq_rel)};
        lines_->engine_wake.ring(); // the next ones may have been waiting for that place
        if (!old || !coming_ || lines_->offered.load(std::memory_order_acquire) != nullptr) return;
        wish_.settings = std::move(*coming_);
        coming_.reset();
        keeper_.adopt(wish_.settings.midi);
        takes_->finish();
        start_takes();
        spdlog::info("the configuration has been read again");
        tell_of_players();
    }

    void say_cuts()
    {
        const std::uint32_t cut = lines_->counts.cut_inputs.load(std::memory_order_acquire);
        const auto& inputs = wish_.settings.midi.inputs;
        for (std::size_t i = 0; i < inputs.size(); ++i) {
            const bool now = (cut >> i & 1U) != 0, before = (cut_said_ >> i & 1U) != 0;
            if (now && !before)
                spdlog::warn("input \"{}\" brings our own output back: it is not heard until three seconds after that ends; undo the loop",
                             inputs[i].name);
            if (before && !now) spdlog::info("input \"{}\" is heard again", inputs[i].name);
        }
        cut_said_ = cut;
    }

    void tell_of_players()
    {
        const std::size_t count = wish_.settings.players.size();
        if (count > 1) spdlog::info("{} players; takes are of the first, {}", count, name_of(wish_.settings.player.name));
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
        tick_.expires_after(std::chrono::seconds(1));
        tick_.async_wait([this](const boost::system::error_code& trouble) {
            if (trouble) return;
            look_after_threads();
            say_priority_once();
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

    void say_priority_once()
    {
        const int priority = lines_->counts.real_time_priority.load();
        if (priority_said_ || priority < 0) return;
        priority_said_ = true;
        if (priority > 0) {
            spdlog::info("the engine runs with real-time priority {}", priority);
        } else {
            spdlog::info("no real-time priority for the engine: it runs all the same; see limits.conf(5), rtprio, for steadier timing");
        }
    }

    // Silence first, then the files, then whatever the MIDI system makes of being left.
    int close_down()
    {
        progress_.end();
        if (lines_->counts.real_time_priority.load() >= 0) {
            if (!over_said_) command(Command::panic, 0);
            engine_.caught_up(milliseconds(200));
        }
        const bool closed = keeper_.finish(closing_at_most);
        engine_.stop();
        delete lines_->offered.exchange(nullptr);
        delete lines_->retired.exchange(nullptr);
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
    boost::asio::io_context io_;
    boost::asio::signal_set signals_;
    boost::asio::steady_timer tick_;
    boost::asio::posix::stream_descriptor engine_news_;
    std::optional<StatusServer> status_;
    std::array<Snapshot, players_at_most> snapshots_{};
    std::optional<Settings> coming_; // read again, and on its way to the engine
    std::uint32_t cut_said_{0};
    Progress progress_;
    int code_{exit_fine};
    int abandoned_{0};
    bool over_said_{false};
    bool priority_said_{false};
};

Service::Service(ServiceWish wish) : house_(std::make_unique<House>(std::move(wish))) {}
Service::~Service() = default;
int Service::run() { return house_->run(); }

} // namespace bowarm
