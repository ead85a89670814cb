#include "studio/service.hpp"

#include "midi/ports/monotonic.hpp"
#include "status/status.hpp"
#include "studio/build_id.hpp"
#include "studio/engine_thread.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/logging.hpp"
#include "studio/memory_lock.hpp"
#include "studio/notify.hpp"
#include "studio/progress.hpp"
#include "studio/reloading.hpp"
#include "studio/setup_desk.hpp"
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
constexpr std::string_view limit_words = "that will do, and limits.conf(5), rtprio and memlock, gives steadier timing";

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
        if (wish_.status.socket.empty()) return;
        if (!wish_.own_configuration.empty())
            setups_.emplace(lines_, wish_.own_configuration, [this]() -> const Settings& { return wish_.settings; });
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
            memory_locked_ = lock_all_memory(); // what the engine uses is there
            state_ = state_words();
            spdlog::info("ready: {}", state_);
            notify_.ready(state_);
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
    bool command(std::size_t player, Command command, std::uint8_t argument) override
    {
        return give(command_input(lines_->clock.now(), command, argument, static_cast<std::uint8_t>(player + 1)));
    }
    void want_facts(bool wanted) override
    {
        lines_->facts.want(wanted);
        PlayersFact left_over;
        while (!wanted && lines_->facts.pop(left_over)) {
        }
    }
    bool next_fact(PlayerFact& told) override
    {
        PlayersFact next;
        if (!lines_->facts.pop(next)) return false;
        told = {next.player, next.fact};
        return true;
    }
    std::uint64_t take_lost_facts() override { return lines_->facts.take_lost(); }
    bool takes_turns(std::size_t player) const override { return wish_.settings.players[player].part.under_hands; }
    TakeDesk* takes() override { return take_desk_ ? &*take_desk_ : nullptr; }
    SetupDesk* setup() override { return setups_ ? &*setups_ : nullptr; }
    // What is refused changes nothing.
    Reloading reload() override
    {
        notify_.reloading();
        Reloading outcome = offer_what_is_read();
        for (const std::string& reason : outcome.reasons) spdlog::error("reload refused, the old configuration stays: {}", reason);
        if (!outcome.accepted) notify_.ready(state_); // otherwise when the new players play
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

    bool give(const Input& input)
    {
        const bool taken = lines_->from_service.push(input);
        lines_->engine_wake.ring();
        return taken;
    }

    Reloading offer_what_is_read()
    {
        if (!wish_.read_again || wish_.script) return {false, {"a file is being played; restart with the new configuration"}};
        Loaded loaded = wish_.read_again();
        if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded)) {
            Reloading refused;
            for (const Problem& problem : *problems) refused.reasons.push_back(problem.line());
            return refused;
        }
        Reloading accepted{true, {}, keys_for_restart(wish_.settings, std::get<Settings>(loaded))};
        if (!accepted.restart.empty())
            spdlog::warn("the configuration is read again but for what takes effect with a restart: {}", joined(accepted.restart));
        offer(without_restart(std::get<Settings>(std::move(loaded)), wish_.settings));
        return accepted;
    }

    // Those that were on their way are taken back first, so that take and journal hear of nobody who does not come.
    void offer(Settings settings)
    {
        auto players = ensemble_of(settings, *lines_);
        if (memory_locked_ && !lock_heap()) spdlog::warn("the memory of the new players is not locked: {}", limit_words);
        const std::unique_ptr<Ensemble> overtaken{lines_->offered.exchange(nullptr, std::memory_order_acq_rel)};
        if (overtaken) takes_->withdraw_configured();
        const std::string& told = coming_ ? coming_->log_level : wish_.settings.log_level;
        if (settings.log_level != told && !wish_.log_level_asked) set_log_level(settings.log_level);
        move_takes(settings);
        takes_->configured(configs_of(settings), texts_of(settings), settings.take.silence, quota_of(settings.take));
        coming_ = std::move(settings);
        lines_->offered.store(players.release(), std::memory_order_release);
        lines_->engine_wake.ring();
    }

    // The take that runs ends in the old place.  The new place's journal begins with the old players, whose past stays behind, and
    // is whole from the new ones on.
    void move_takes(const Settings& settings)
    {
        if (!wish_.take_place) return;
        const std::filesystem::path place = wish_.take_place(settings);
        if (place == wish_.take_folder) return;
        takes_were_kept_ = takes_->finish() && takes_were_kept_;
        takes_.reset();
        // While nothing is kept nobody reads the journal's ring.
        for (JournalItem old; lines_->journal.pop(old);) {
        }
        lines_->journal.lost.store(0);
        wish_.take_folder = place;
        wish_.left_over = gather_left_over(place, to_duration(settings.take.silence));
        start_takes();
        if (place.empty()) spdlog::info("takes are no longer kept");
        lines_->wants_state.store(true, std::memory_order_release);
        lines_->engine_wake.ring();
    }

    static Quota quota_of(const TakeSettings& take) { return {take.keep_at_most, take.megabytes_at_most}; }

    std::span<const Input> script() const { return wish_.script ? std::span<const Input>{*wish_.script} : std::span<const Input>{}; }

    void start_takes()
    {
        TakeWish takes{wish_.take_folder, wish_.settings.take.silence, wish_.script.has_value(), configs_of(wish_.settings)};
        takes.journal = JournalHead{std::time(nullptr), Time{-1}, build_id(), std::string{version}, texts_of(wish_.settings)};
        takes.quota = quota_of(wish_.settings.take);
        takes.left_over = std::move(wish_.left_over);
        take_desk_.reset();
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
        spdlog::info("the configuration has been read again");
        tell_of_players();
        state_ = state_words();
        notify_.ready(state_);
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
        if (count > 1)
            spdlog::info("{} players, from {} to {}", count, name_of(wish_.settings.players.front().config.name),
                         name_of(wish_.settings.players.back().config.name));
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
        if (const std::size_t others = wish_.settings.players.size() - 1; others > 0) words += " and " + std::to_string(others) + " more";
        const char* before = "; ";
        for (const PortView::Port& port : keeper_.view().ports) {
            words += before + port.role + " " + port.name + " " + port.state;
            before = ", ";
        }
        return words;
    }

    void say_priority_once()
    {
        const int priority = lines_->counts.real_time_priority.load();
        if (priority_said_ || priority < 0) return;
        priority_said_ = true;
        const std::string real_time = priority > 0 ? "real-time priority " + std::to_string(priority) : "no real-time priority";
        const bool all = priority > 0 && memory_locked_;
        spdlog::info("the engine runs with {} and {}{}{}", real_time, memory_locked_ ? "its memory locked" : "no memory locked",
                     all ? "" : "; ", all ? "" : limit_words);
    }

    // Silence first, then the files, then whatever the MIDI system makes of being left.
    int close_down()
    {
        notify_.stopping("silencing, closing ports, writing the take");
        progress_.end();
        if (lines_->counts.real_time_priority.load() >= 0) {
            if (!over_said_) give(command_input(lines_->clock.now(), Command::panic)); // to all
            engine_.caught_up(milliseconds(200));
        }
        const bool closed = keeper_.finish(closing_at_most);
        engine_.stop();
        delete lines_->offered.exchange(nullptr);
        delete lines_->retired.exchange(nullptr);
        const bool kept = takes_->finish() && takes_were_kept_;
        setups_.reset();
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
    std::optional<Setups> setups_;   // empty: no place for a configuration
    bool takes_were_kept_{true};     // by those that kept them in another place
    Notify notify_;
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
    bool memory_locked_{false};
    std::string state_; // as last told
    std::uint64_t turns_at_bell_{0};
    std::int64_t feed_at_ns_{0};
};

Service::Service(ServiceWish wish) : house_(std::make_unique<House>(std::move(wish))) {}
Service::~Service() = default;
int Service::run() { return house_->run(); }

} // namespace bowarm
