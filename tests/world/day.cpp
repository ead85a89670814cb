#include "world/day.hpp"

#include "midi/message.hpp"
#include "player/random_playing.hpp"
#include "studio/configuration.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/left_over.hpp"
#include "studio/service.hpp"
#include "studio/take_folder.hpp"
#include "take/replayed.hpp"
#include "world/client.hpp"
#include "world/houses.hpp"
#include "world/studio_of_ports.hpp"
#include "world/time_teller.hpp"

#include <boost/json/value.hpp>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <limits>
#include <malloc.h>
#include <map>
#include <optional>
#include <set>
#include <unistd.h>

namespace bowarm::world
{
namespace
{

namespace fs = std::filesystem;

constexpr int panic_key = 21;
constexpr std::size_t keyboard = 0, pads = 1, pedals = 2, sequencer = 3;
constexpr Source keys_input{0};                    // of the configuration: it hears the keyboard and the pads
constexpr Ns after_trouble = 8 * second;           // until then nothing is expected
constexpr Ns kept_after = 250 * ms;                // the journal's promise
constexpr Ns ring_bridges = 40 * second;           // how long a disk that stood still may be felt
constexpr Ns patience_with_a_send = 250 * ms;      // of the service
constexpr int unavailable = 69, input_output = 74; // sysexits.h
constexpr std::size_t memory_at_most = 700U << 20;

std::string clock_text(Ns time)
{
    const auto s = time / second;
    return std::to_string(s / 3600) + " h " + std::to_string(s / 60 % 60) + " min " + std::to_string(s % 60) + " s";
}

class Day
{
public:
    explicit Day(const Wish& wish) : wish_(wish), dice_(wish.seed ^ 0x5DEECE66DU), socket_(wish.folder + "/run/status.sock")
    {
        takes_ = wish.folder + "/takes";
        file_ = wish.folder + "/bowarm.toml";
    }

    Tally live()
    {
        ::setenv("BOWARM_DATA", wish_.data.c_str(), 1);
        std::signal(SIGPIPE, SIG_IGN);
        spdlog::set_level(wish_.verbose ? spdlog::level::debug : spdlog::level::off);
        machine::start(wish_.seed, wish_.from, wish_.wall, takes_);
        machine::lies.journal = wish_.lie == Lie::lost_record;
        machine::lies.engine_waits = wish_.lie == Lie::engine_waits;
        studio_.lies = {wish_.lie == Lie::swallowed_note_off ? 40 : 0, wish_.lie == Lie::changed_value ? 3 : 0};
        for (const char* name : {"keyboard", "pads", "pedals", "sequencer"})
            studio_.keyboards.push_back(std::make_unique<Keyboard>(Keyboard{name}));
        for (const char* name : {"sampler one", "sampler two"}) {
            studio_.samplers.push_back(std::make_unique<Sampler>());
            studio_.samplers.back()->name = name;
        }
        machine::on_exit([this](int code) { over(code, true); });
        for (const auto& entry : fs::directory_iterator{takes_}) before_.insert(entry.path().filename().string());
        write_configuration(dice_.below(house_count));
        machine::spawn([this] { serve(); });
        machine::after(2 * second, [this] { meet(); });
        // A life lasts some hours; some are cut short before anything was played.
        const Ns length = dice_.one_in(12) ? dice_.below(120) * second : dice_.below(10 * 3600) * second + 60 * second;
        const bool killed = dice_.one_in(2);
        machine::at(std::min(wish_.until, wish_.from + length),
                    [this, killed] { killed ? kill() : (follower_ ? say_goodbye() : tell_to_stop()); });
        machine::run();
        tally_.ended = machine::now();
        tally_.wall = machine::wall();
        tally_.steps = machine::steps();
        for (const auto& sampler : studio_.samplers) tally_.sent += sampler->messages;
        for (const auto& entry : fs::directory_iterator{takes_})
            if (entry.path().extension() == ".json") ++tally_.takes;
        return tally_;
    }

private:
    struct Struck {
        Ns at;
        std::array<std::uint8_t, 3> bytes;
        bool operator==(const std::array<std::uint8_t, 3>& other) const { return bytes == other; }
    };

    // The service itself

    void write_configuration(int house)
    {
        house_ = house;
        std::ofstream{file_} << house_of(house).text;
    }

    Loaded load() const { return load_configuration(file_, {}); }

    void serve()
    {
        int code = -1;
        {
            ServiceWish wish;
            Loaded loaded = load();
            if (!std::holds_alternative<Settings>(loaded))
                return machine::violated("the configuration is refused: " + std::get<std::vector<Problem>>(loaded).front().line());
            wish.settings = std::get<Settings>(loaded);
            take_over(wish.settings);
            wish.take_folder = takes_;
            wish.status.socket = socket_;
            wish.left_over = gather_left_over(takes_, to_duration(wish.settings.take.silence));
            wish.read_again = [this] { return load(); };
            wish.open_system = [this](std::shared_ptr<Wakeup> bell) { return studio_.open_system(std::move(bell)); };
            Service service{std::move(wish)};
            code = service.run();
        }
        over(code, false);
    }

    // From now on these players play.
    void take_over(const Settings& settings)
    {
        players_ = settings.players.size();
        plays_ = house_;
        renewed_ = struck_.size();
        for (auto& sampler : studio_.samplers) {
            sampler->switches = {};
            for (const PlayerSettings& player : settings.players)
                for (const TechniqueWay& way : player.config.target.techniques) mark_switches(*sampler, way);
            for (auto& key : sampler->switches[15]) key = true; // lamps
        }
        delay_ = 0;
        for (const PlayerSettings& player : settings.players)
            delay_ = std::max(delay_, static_cast<Ns>((player.config.delay.value + player.config.chord_hold.value) * 1e9));
    }

    static void mark_switches(Sampler& sampler, const TechniqueWay& way)
    {
        if (!way.present) return;
        const auto mark = [&sampler](const Switch& one) {
            for (const SwitchStep& step : one.steps)
                if (step.kind == SwitchKind::keyswitch_held || step.kind == SwitchKind::keyswitch_latching)
                    for (auto& channel : sampler.switches) channel[step.number.get()] = true;
        };
        mark(way.down);
        mark(way.up);
        for (const Layer& layer : way.layers) {
            mark(layer.down);
            mark(layer.up);
        }
    }

    void over(int code, bool left_behind)
    {
        const bool gives_up = !stopping_ && may_give_up_ && code == unavailable;
        if (!stopping_ && !gives_up) return machine::violated("the service ended by itself with " + std::to_string(code));
        check_code(code);
        if (left_behind && calm_for() > after_trouble) return machine::violated("the service left its MIDI system behind");
        if (!left_behind && calm_for() > after_trouble)
            for (const auto& sampler : studio_.samplers)
                if (const std::string sounds = sampler->what_sounds(true); !sounds.empty() && sampler->well())
                    return machine::violated("after the end: " + sounds);
        look_at_the_record(code == 0 && !left_behind ? 0 : kept_after);
        ++tally_.stops;
        machine::stop();
    }

    // 74 says that something is missing from a take, and then the status has said so before; never the one without the other.
    void check_code(int code)
    {
        const bool calm = calm_for() > after_trouble && disk_well();
        if (!stopping_ || !calm) return;
        const bool told = told_missing_.value_or(false), not_told = !told_missing_.value_or(true);
        if (code == input_output && (not_told || disk_since_ == -hour))
            return machine::violated("the service ended with 74, and no take was incomplete");
        if (code == 0 && told) return machine::violated("a take is incomplete, and the service ended with 0");
        if (code != 0 && code != input_output && !may_give_up_) machine::violated("the service ended with " + std::to_string(code));
    }

    // The last that is heard of it.
    void say_goodbye()
    {
        follower_->ask("status", "", [this](const boost::json::value& told) {
            const auto& problem = told.at("result").at("take_problem").as_string();
            told_missing_ = std::string_view{problem.data(), problem.size()}.find("missing") != std::string_view::npos;
        });
        machine::after(200 * ms, [this] {
            follower_->look();
            tell_to_stop();
        });
    }

    void tell_to_stop()
    {
        if (stopping_) return;
        stopping_ = true;
        ::raise(SIGTERM);
        machine::touch_sockets();
        machine::after(30 * second, [this] {
            if (disk_well() && calm_for() > after_trouble) machine::violated("the service does not end");
            kill();
        });
    }

    void kill()
    {
        ++tally_.kills;
        machine::set_disk(Disk::fine);
        look_at_the_record(kept_after);
        machine::stop();
    }

    // Days and hands

    void meet()
    {
        follower_ = std::make_unique<SocketClient>(socket_);
        if (!follower_->open()) return machine::violated("nobody answers at the status socket");
        watch();
        follow();
        rest();
        trouble();
        look_after_memory();
    }

    void follow()
    {
        follower_->look();
        if (!follower_->open() && !stopping_) {
            if (calm_for() > 30 * second) return machine::violated("a client that reads was sent away");
            follower_ = std::make_unique<SocketClient>(socket_);
            if (watching_) watch();
        }
        machine::after(watching_ ? second : 5 * second, [this] { follow(); });
    }

    void watch()
    {
        watching_ = true;
        follower_->subscribe(dice_.one_in(2) ? R"({"rate":10,"events":["note","stroke","warning","port","take"]})"
                                             : R"({"rate":2,"events":["note","stroke"]})");
    }

    // Nobody looks at a screen in an empty room, but for some.
    void look_away()
    {
        if (playing_ || stopping_ || dice_.one_in(10)) return;
        watching_ = false;
        follower_->ask("unsubscribe", "");
        machine::after(second, [this] { follower_->look(); });
    }

    void rest()
    {
        // Most of a day is silence.
        const Ns pause =
            dice_.one_in(5) ? dice_.below(60) * second : (dice_.one_in(6) ? dice_.below(8 * 3600) : dice_.below(5400)) * second;
        machine::after(pause, [this] { sit_down(); });
        if (pause > 60 * second) machine::after(30 * second, [this] { look_away(); });
    }

    void sit_down()
    {
        playing_ = true;
        watch();
        pace_ = 1 + dice_.below(6);
        stand_up_at_ = machine::now() + (5 + dice_.below(dice_.one_in(4) ? 400 : 90)) * second;
        const bool no_loops = !studio_.has_cable() && machine::now() - cable_until_ > after_trouble;
        if (dice_.one_in(3) && no_loops && studio_.listened_to(sequencer)) start_sequencer();
        if (dice_.one_in(4)) begin_to_tell_the_time();
        play();
    }

    void begin_to_tell_the_time()
    {
        if (std::exchange(time_goes_on_, true)) return;
        teller_.begin(dice_);
        tell_the_time();
    }

    void tell_the_time()
    {
        time_goes_on_ = playing_ && !stopping_;
        const TimeTeller::Told told = time_goes_on_ ? teller_.next(dice_) : teller_.end();
        if (told.size != 0 && studio_.play(sequencer, told.data())) ++tally_.inputs;
        if (time_goes_on_) machine::after(told.wait, [this] { tell_the_time(); });
    }

    void play()
    {
        if (stopping_) return;
        if (machine::now() > stand_up_at_) return stand_up();
        const int what = dice_.below(100);
        const std::size_t hands = dice_.one_in(9) ? pads : keyboard;
        if (what < 42) {
            strike(hands);
        } else if (what < 78) {
            let_go(hands);
        } else if (what < 92) {
            const int number = dice_.one_in(3) ? (dice_.one_in(2) ? 64 : 1 + dice_.below(118)) : 11;
            send(dice_.one_in(2) ? hands : pedals, control_change(Channel{}, n(number), n(dice_.below(128))));
        } else if (what < 94) {
            send(hands, pitch_bend(Channel{}, Midi14::nearest(dice_.below(16384))));
        } else if (what < 96) {
            send(hands, program_change(Channel{}, n(dice_.one_in(3) ? dice_.below(128) : 99 + dice_.below(26))));
        } else if (what < 97) {
            odd_bytes(hands);
        } else if (what < 98) {
            command();
        } else {
            send(hands, channel_pressure(Channel{}, n(dice_.below(128))));
        }
        const Ns longest[] = {1, 15, 60, 120, 240, 300, 700};
        machine::after(static_cast<Ns>(dice_.next() % static_cast<std::uint64_t>(longest[dice_.below(1 + pace_)] * ms)) + 1000,
                       [this] { play(); });
    }

    static Midi7 n(int number) { return Midi7::nearest(number); }
    Channel channel_of(int key) const { return Channel::of_status(static_cast<std::uint8_t>(plays_ == 4 ? key % 5 : 0)); }

    void send(std::size_t from, const Message& message)
    {
        if (!studio_.play(from, message.data())) return;
        ++tally_.inputs;
        if (!message.is_note_on() || from > pads) return;
        ++tally_.notes;
        if (is_for_the_hands(plays_, message.first().get())) return;
        struck_.push_back({machine::now(), message.bytes});
    }

    void strike(std::size_t hands)
    {
        // Some of the lowest do something, among them panic and bypass.
        const int key = dice_.one_in(40) ? 12 + dice_.below(13) : (dice_.one_in(3) ? 36 + dice_.below(60) : last_key_ - 4 + dice_.below(9));
        last_key_ = std::clamp(key, 40, 96);
        if (down_[hands].size() > 5 || !down_[hands].emplace(key, channel_of(key)).second) return;
        send(hands, note_on(channel_of(key), n(key), n(1 + dice_.below(127))));
        if (key == panic_key && studio_.listened_to(hands)) sequencer_is_silenced(); // pulled out, it is heard by nobody
    }

    void let_go(std::size_t hands)
    {
        if (down_[hands].empty()) return;
        auto key = down_[hands].begin();
        std::advance(key, dice_.below(static_cast<int>(down_[hands].size())));
        send(hands, note_off(key->second, n(key->first)));
        down_[hands].erase(key);
    }

    void odd_bytes(std::size_t hands)
    {
        std::vector<std::uint8_t> bytes{0xF6}; // ends the running status
        for (int i = 2 + dice_.below(30); i > 0; --i) {
            // No note-ons, and nothing where the sequencer plays: what came there is known.
            const auto byte = static_cast<std::uint8_t>(dice_.below(256));
            const bool known = (byte & 0xF0U) == 0x90 || (byte >= 0x80 && byte < 0xF0 && (byte & 0xFU) == Studio::passed_channel);
            bytes.push_back(known ? 0xF8 : byte);
        }
        bytes.push_back(0xF7);
        bytes.push_back(0xFE);
        if (studio_.play(hands, bytes)) ++tally_.inputs;
    }

    void stand_up()
    {
        playing_ = false;
        sequencer_on_ = false;
        for (const std::size_t hands : {keyboard, pads}) {
            for (const auto& [key, channel] : down_[hands]) send(hands, note_off(channel, n(key)));
            down_[hands].clear();
        }
        for (std::uint8_t channel = 0; channel < 5; ++channel) send(pedals, control_change(Channel::of_status(channel), n(64), n(0)));
        for (std::uint8_t channel = 0; channel < 5; ++channel) send(keyboard, control_change(Channel::of_status(channel), n(64), n(0)));
        for (const int key : sequenced_) send(sequencer, note_off(Channel::of_status(Studio::passed_channel), n(key)));
        sequenced_.clear();
        machine::after(6 * second + delay_, [this] {
            expect_silence("all keys are up");
            compare_passed();
            rest();
        });
    }

    void expect_silence(const std::string& why)
    {
        if (calm_for() < after_trouble) return;
        ++tally_.silences;
        for (const auto& sampler : studio_.samplers) {
            if (!sampler->well() || !studio_.connected(*sampler) || machine::now() - sampler->well_since < after_trouble) continue;
            if (const std::string sounds = sampler->what_sounds(false); !sounds.empty())
                return machine::violated(why + ", and still " + sounds);
        }
    }

    // A sequencer brings what has been through the arm already: it goes on as it is.

    void start_sequencer()
    {
        sequencer_on_ = true;
        expected_.clear();
        passed_from_ = machine::now();
        for (auto& sampler : studio_.samplers) sampler->passed.clear();
        bring(control_change(Channel::of_status(Studio::passed_channel), n(119), n(87)));
        sequence();
    }

    // What it has brought after that is not known to be marked.
    void stop_sequencer()
    {
        sequencer_on_ = false;
        for (const int key : sequenced_) send(sequencer, note_off(Channel::of_status(Studio::passed_channel), n(key)));
        sequenced_.clear();
        expected_.clear();
    }

    void bring(const Message& message)
    {
        expected_.push_back(message);
        send(sequencer, message);
    }

    void sequence()
    {
        if (!sequencer_on_ || stopping_) return;
        if (machine::now() < sequencer_waits_until_) return machine::at(sequencer_waits_until_, [this] { sequence(); });
        // What it plays into a server that stands would be lost, and with it the end of a note: nobody could know of that.
        if (!studio_.listened_to(sequencer)) return machine::after(second / 2, [this] { sequence(); });
        const Channel channel = Channel::of_status(Studio::passed_channel);
        const int what = dice_.below(10);
        const int key = 40 + dice_.below(40);
        if (what < 4 && sequenced_.insert(key).second) {
            bring(note_on(channel, n(key), n(1 + dice_.below(127))));
        } else if (what < 8 && !sequenced_.empty()) {
            bring(note_off(channel, n(*sequenced_.begin())));
            sequenced_.erase(sequenced_.begin());
        } else {
            bring(control_change(channel, n(1 + dice_.below(11)), n(dice_.below(128))));
        }
        machine::after((20 + dice_.below(300)) * ms, [this] { sequence(); });
    }

    static std::string bytes_of(const std::vector<Message>& messages, std::size_t i)
    {
        if (i >= messages.size()) return "nothing";
        const auto& b = messages[i].bytes;
        return std::to_string(b[0]) + " " + std::to_string(b[1]) + " " + std::to_string(b[2]);
    }

    // Panic ends what it holds, and what it brings half a second later is passed on as before.
    void sequencer_is_silenced()
    {
        if (calm_for() < after_trouble) return stop_sequencer(); // it may not have been heard
        sequencer_waits_until_ = machine::now() + second / 2;
        machine::after(second / 2 - ms, [this] {
            sequenced_.clear();
            expected_.clear();
            for (auto& sampler : studio_.samplers) sampler->passed.clear();
        });
    }

    void compare_passed()
    {
        const Sampler& sampler = *studio_.samplers.front();
        if (expected_.empty() || calm_since_ > passed_from_ || sampler.well_since > passed_from_ || !house_of(plays_).passes) return;
        for (std::size_t i = 0; i < expected_.size(); ++i)
            if (i >= sampler.passed.size() || !(sampler.passed[i] == expected_[i]))
                return machine::violated("what is passed on is not what came: message " + std::to_string(i) + " of " +
                                         std::to_string(expected_.size()) + ", " + bytes_of(expected_, i) + " arrives as " +
                                         bytes_of(sampler.passed, i));
        expected_.clear();
    }

    // What is asked of the socket

    void command()
    {
        constexpr const char* const asked[][2] = {{"technique", R"({"name":"staccato"})"},
                                                  {"technique", R"({"name":"tremolo"})"},
                                                  {"technique", R"({"name":"pizzicato"})"},
                                                  {"read_technique", ""},
                                                  {"bypass", R"({"on":true})"},
                                                  {"bypass", R"({"on":false})"},
                                                  {"retake", ""},
                                                  {"next_stroke", R"({"direction":"up"})"},
                                                  {"mute", R"({"on":true})"},
                                                  {"mute", R"({"on":false})"},
                                                  {"amount", R"({"value":0.5})"},
                                                  {"amount", R"({"value":1})"},
                                                  {"contact_point", R"({"value":0.2})"},
                                                  {"loudness", R"({"value":0.9})"},
                                                  {"tap", R"({"bar":true})"},
                                                  {"down_bows", R"({"on":false})"},
                                                  {"status", ""},
                                                  {"ports", ""},
                                                  {"take_list", ""},
                                                  {"take_start", ""},
                                                  {"take_stop", ""},
                                                  {"nonsense", ""},
                                                  {"panic", ""},
                                                  {"string", R"({"name":"1"})"},
                                                  {"string", R"({"name":"1","on":false})"}};
        const auto& one = asked[dice_.below(std::size(asked))];
        follower_->ask(one[0], one[1]);
        if (one[0] == std::string_view{"panic"}) sequencer_is_silenced();
        if (dice_.one_in(10)) follower_->say("{\"jsonrpc\": nonsense");
    }

    void reload()
    {
        const int before = house_;
        const bool broken = dice_.one_in(3);
        if (broken)
            std::ofstream{file_} << house_of(before).text << "[player\nname = 3\n";
        else
            write_configuration(dice_.below(house_count));
        const int wanted = house_;
        disturbed(); // notes end, and others hear the next ones
        expected_.clear();
        const auto answered = [this, before, broken, wanted](const boost::json::value& told) {
            const auto* result = told.as_object().if_contains("result");
            const bool accepted = result != nullptr && result->at("accepted").as_bool();
            ++(accepted ? tally_.reloads : tally_.refused);
            if (accepted == broken)
                machine::violated(broken ? "nonsense was accepted as a configuration" : "a good configuration was refused");
            if (accepted) {
                machine::after(4 * second, [this, wanted] { reloaded(wanted); });
            } else {
                write_configuration(before);
                machine::after(4 * second, [this] { count_players(); });
            }
        };
        follower_->ask("reload", "", answered);
        machine::after(300 * ms, [this] { follower_->look(); });
    }

    void reloaded(int wanted)
    {
        if (stopping_ || wanted != house_) return;
        const Loaded loaded = load();
        if (const auto* settings = std::get_if<Settings>(&loaded)) take_over(*settings);
        count_players();
    }

    void count_players()
    {
        machine::after(second, [this] { follower_->look(); });
        follower_->ask("players", "", [this, wanted = players_](const boost::json::value& told) {
            if (wanted != players_ || calm_for() < 5 * second) return;
            if (told.at("result").as_array().size() != wanted)
                machine::violated("there are " + std::to_string(told.at("result").as_array().size()) + " players, and " +
                                  std::to_string(wanted) + " in the configuration");
        });
    }

    // Faults

    Ns calm_for() const
    {
        const bool held_up = std::any_of(studio_.samplers.begin(), studio_.samplers.end(), [](const auto& one) { return !one->gate.open; });
        return held_up ? 0 : machine::now() - calm_since_;
    }
    void disturbed()
    {
        calm_since_ = machine::now();
        ++tally_.faults;
    }
    bool disk_well() const { return disk_ == Disk::fine && machine::now() - disk_since_ > ring_bridges; }

    void set_disk(Disk disk)
    {
        disk_ = disk;
        disk_since_ = machine::now();
        machine::set_disk(disk);
    }

    void trouble()
    {
        if (stopping_) return;
        // Troubles come where people are.
        const Ns next = (playing_ ? 1 + dice_.below(40) : 30 + dice_.below(1200)) * second;
        machine::after(next, [this] { trouble(); });
        disturb();
    }

    void disturb()
    {
        const Ns for_a_while = dice_.one_in(4) ? dice_.below(60) * second : static_cast<Ns>(dice_.below(900)) * ms;
        const std::size_t which = dice_.one_in(3) ? 1 : 0;
        switch (dice_.below(15)) {
        case 0:
        case 1: {
            Keyboard& gone = *studio_.keyboards[static_cast<std::size_t>(dice_.below(4))];
            pull(gone);
            machine::after(for_a_while, [this, &gone] { put_back(gone); });
            break;
        }
        case 2:
            disturbed();
            studio_.plug(*studio_.samplers[which], false);
            machine::after(for_a_while, [this, which] {
                disturbed();
                studio_.plug(*studio_.samplers[which], true);
            });
            break;
        case 3:
            disturbed();
            studio_.refuse(*studio_.samplers[which], true);
            machine::after(for_a_while, [this, which] {
                disturbed();
                studio_.refuse(*studio_.samplers[which], false);
            });
            break;
        case 4: {
            const bool long_ = dice_.one_in(3);
            const Ns blocked = long_ ? patience_with_a_send + dice_.below(dice_.one_in(4) ? 30'000 : 1500) * ms : dice_.below(240) * ms;
            if (long_) may_give_up_ = true; // the second time
            disturbed();
            studio_.block(*studio_.samplers[which], true);
            machine::after(blocked, [this, which] {
                disturbed();
                studio_.block(*studio_.samplers[which], false);
            });
            break;
        }
        case 5:
            die(SystemState::stalled, std::min<Ns>(for_a_while, 20 * second));
            break;
        case 6:
            die(SystemState::lost, for_a_while);
            break;
        case 7:
            if (disk_ != Disk::fine) break;
            set_disk(dice_.one_in(3) ? Disk::full : (dice_.one_in(2) ? Disk::slow_to_sync : Disk::stalled));
            machine::after(for_a_while, [this] { set_disk(Disk::fine); });
            break;
        case 8:
            machine::jump_wall((dice_.below(7200) - 3600) * second);
            break;
        case 9:
            disturbed();
            frozen_at_ = machine::now();
            machine::freeze_until(machine::now() + dice_.below(dice_.one_in(5) ? 3000 : 300) * ms);
            break;
        case 10:
            reload();
            break;
        case 11:
            idler_ = std::make_unique<SocketClient>(socket_);
            idler_->ask("subscribe", R"({"rate":100,"events":["note","stroke","technique","warning","port","take"]})");
            for (int i = 0; i < 50; ++i) idler_->ask("rpc.discover", "");
            break;
        case 12:
            lay_a_cable(for_a_while);
            break;
        case 13:
            if (idler_) idler_->say(std::string(static_cast<std::size_t>(dice_.below(70'000)), '['));
            if (dice_.one_in(2)) idler_.reset();
            break;
        default:
            panic();
            break;
        }
    }

    // What a sampler hears comes back to us: a thru, or a track that monitors its own output.
    void lay_a_cable(Ns for_a_while)
    {
        if (studio_.has_cable()) return;
        const bool to_keys = dice_.one_in(4);
        if (to_keys) hears_other_keys_ = true;
        stop_sequencer();
        passed_from_ = never; // what comes on that channel is no longer only the sequencer's
        studio_.lay_cable(*studio_.samplers[dice_.one_in(3) ? 1 : 0], to_keys ? pads : sequencer);
        machine::after(for_a_while + second, [this] {
            studio_.take_cable_away();
            cable_until_ = machine::now();
        });
    }

    void pull(Keyboard& gone)
    {
        disturbed();
        studio_.plug(gone, false);
        for (const std::size_t hands : {keyboard, pads})
            if (studio_.keyboards[hands].get() == &gone) down_[hands].clear();
        if (studio_.keyboards[sequencer].get() == &gone) stop_sequencer();
    }

    void put_back(Keyboard& gone)
    {
        disturbed();
        studio_.plug(gone, true);
    }

    void die(SystemState how, Ns time)
    {
        if (studio_.server() != SystemState::running) return;
        disturbed();
        if (how == SystemState::lost && dice_.one_in(2)) studio_.block(*studio_.samplers.front(), true); // a send that sticks in it
        const auto gone = [this, how, time] {
            studio_.set_server(how);
            if (how == SystemState::lost) {
                for (auto& hands : down_) hands.clear();
            }
            stop_sequencer();
            machine::after(time, [this] {
                disturbed();
                studio_.set_server(SystemState::running);
            });
        };
        machine::after(dice_.below(200) * ms, gone);
    }

    void panic()
    {
        if (!playing_) return;
        const Ns stood_up = stand_up_at_;
        follower_->ask("panic", "");
        stop_sequencer();
        stand_up_at_ = 0; // hands off
        machine::after(1500 * ms, [this, stood_up] {
            if (calm_for() > after_trouble && stood_up > machine::now()) expect_silence("panic was asked for");
        });
    }

    // What is kept

    void look_after_memory()
    {
        machine::after(600 * second, [this] { look_after_memory(); });
        if (static_cast<std::size_t>(::mallinfo2().uordblks) > memory_at_most) machine::violated("the service holds more and more memory");
    }

    // Of this life, those that were written last first.
    using Written = std::pair<fs::file_time_type, fs::path>;
    std::vector<Written> journals() const
    {
        std::vector<Written> found;
        for (const auto& entry : fs::directory_iterator{takes_})
            if (entry.path().extension() == ".journal" && !before_.contains(entry.path().filename().string()))
                found.emplace_back(entry.last_write_time(), entry.path());
        std::sort(found.begin(), found.end(), std::greater<>{});
        return found;
    }

    // The one with the newest input, and of two the one that is still open.  The clock of files is coarse, so others of nearly the
    // same time are looked at.
    std::optional<Journal> newest_journal() const
    {
        std::optional<Journal> newest;
        bool open = false;
        fs::file_time_type latest;
        for (const auto& [written, path] : journals()) {
            if (newest && written + std::chrono::milliseconds{100} < latest) break;
            Journal journal = read_journal(bytes_of_file(path));
            if (!journal.head || std::abs(journal.head->wall_s - wish_.wall / second) > 3 || journal.inputs.empty()) continue;
            if (!newest) latest = written;
            const bool is_open = path.filename().string().starts_with("open-");
            const Time last = journal.inputs.back().at;
            if (newest && (last < newest->inputs.back().at || (last == newest->inputs.back().at && open))) continue;
            newest = std::move(journal);
            open = is_open;
        }
        return newest;
    }

    // The newest journal has everything since its player was new, up to what may be lost.
    void look_at_the_record(Ns may_be_lost)
    {
        if (!machine::violation().empty()) return;
        const std::optional<Journal> newest = newest_journal();
        if (!newest) {
            if (may_be_expected(may_be_lost) && struck_.size() > renewed_ && struck_[renewed_].at + may_be_lost < machine::now())
                machine::violated("nothing is kept of what was played");
            return;
        }
        const Journal& journal = *newest;
        if (!journal.damage.empty() && may_be_expected(may_be_lost)) return machine::violated("the journal is damaged: " + journal.damage);
        Time last{};
        for (const Input& input : journal.inputs) {
            if (input.at < last) return machine::violated("inputs are kept out of their order");
            last = input.at;
        }
        if (may_be_expected(may_be_lost) && journal.gaps.empty()) compare_with_struck(journal, may_be_lost);
        if (machine::violation().empty()) play_again(journal);
    }

    bool may_be_expected(Ns may_be_lost) const
    {
        return !hears_other_keys_ && studio_.server() == SystemState::running && disk_well() && machine::now() - frozen_at_ > 10 * second &&
               calm_for() > may_be_lost + second;
    }

    void compare_with_struck(const Journal& journal, Ns may_be_lost)
    {
        if (struck_.size() == renewed_) return; // what the journal has is of players of before
        std::vector<std::array<std::uint8_t, 3>> kept;
        for (const Input& input : journal.inputs)
            if (input.kind == InputKind::midi && input.source == keys_input && as_message(input).is_note_on())
                kept.push_back({input.data[0], input.data[1], input.data[2]});
        const auto old =
            std::count_if(struck_.begin(), struck_.end(), [&](const Struck& one) { return one.at + may_be_lost <= machine::now(); });
        for (std::size_t end = struck_.size(); end >= static_cast<std::size_t>(old); --end) {
            if (end >= kept.size() &&
                std::equal(kept.begin(), kept.end(), struck_.begin() + static_cast<std::ptrdiff_t>(end - kept.size())) &&
                kept.size() + 12 >= end - std::min(end, renewed_))
                return;
            if (end == 0) break;
        }
        const auto found = std::search(struck_.begin(), struck_.end(), kept.begin(), kept.end());
        machine::violated(
            "of " + std::to_string(struck_.size() - renewed_) + " notes since the configuration, the last of them " +
            clock_text(machine::now() - struck_.back().at) + " ago, the journal has " + std::to_string(kept.size()) +
            (found == struck_.end()
                 ? ", not as they were played: " + first_difference(kept)
                 : ", from number " + std::to_string(found - struck_.begin() - static_cast<std::ptrdiff_t>(renewed_)) + " on"));
    }

    // From the newest backwards.
    std::string first_difference(const std::vector<std::array<std::uint8_t, 3>>& kept) const
    {
        const auto text = [](const std::array<std::uint8_t, 3>& bytes) {
            return std::to_string(bytes[0]) + " " + std::to_string(bytes[1]) + " " + std::to_string(bytes[2]);
        };
        const auto [played, found] = std::mismatch(struck_.rbegin(), struck_.rend(), kept.rbegin(), kept.rend());
        return std::to_string(played - struck_.rbegin()) + " notes before the last, " +
               (played == struck_.rend() ? "nothing" : text(played->bytes)) + " is kept as " +
               (found == kept.rend() ? "nothing" : text(*found)) + ", house " + std::to_string(plays_);
    }

    void play_again(const Journal& journal)
    {
        if (!journal.head || !journal.gaps.empty()) return;
        const auto span = journal.end ? journal.end : span_of(journal, milliseconds(20'000));
        if (!span) return;
        const Loaded loaded = settings_of(texts_for(journal, *span));
        if (!std::holds_alternative<Settings>(loaded)) return machine::violated("the take's own configuration is not understood");
        const std::vector<PlayerConfig> players = configs_of(std::get<Settings>(loaded));
        for (std::size_t i = 0; i < players.size(); ++i) {
            const Replayed again = replayed(journal, *span, players[i], i);
            ++tally_.replays;
            if (again.difference)
                return machine::violated("played again, the take differs for player " + std::to_string(i) + " between " +
                                         clock_text(again.difference->after.ns) + " and " + clock_text(again.difference->before.ns));
            check_bow(again.take);
        }
    }

    // The bow is on its hair, and where the last stroke left it unless it was lifted, or the song went back to where it stood otherwise.
    static void check_bow(const Recorder& take)
    {
        double place = -1;
        std::uint32_t stroke = std::numeric_limits<std::uint32_t>::max();
        auto input = take.inputs().begin();
        bool moved = false; // by the song
        for (const Fact& fact : take.facts()) {
            for (; input != take.inputs().end() && input->at <= fact.at; ++input)
                if (input->kind == InputKind::command && static_cast<Command>(input->data[0]) == Command::bow_at) moved = true;
            if (fact.kind == FactKind::part_ended && (fact.motion.force < Newtons{0} || fact.motion.speed < MetresPerSecond{0}))
                return machine::violated("a negative force or speed");
            if (fact.kind != FactKind::stroke_began && fact.kind != FactKind::stroke_ended) continue;
            const double now = fact.kind == FactKind::stroke_began ? fact.hair_from.value : fact.hair_to.value;
            if (!(now >= 0 && now <= 1)) return machine::violated("the bow is off its hair");
            if (fact.kind == FactKind::stroke_ended) {
                place = now;
                continue;
            }
            if (fact.stroke != stroke && std::exchange(moved, false)) place = -1;
            if (take_has_one_bow(take) && place >= 0 && fact.stroke != stroke && !fact.retake && std::abs(now - place) > 1e-9)
                return machine::violated("the bow jumped without a retake, from " + std::to_string(place) + " to " + std::to_string(now) +
                                         ", stroke " + std::to_string(fact.stroke) + " at " + std::to_string(fact.at.ns) + " ns");
            stroke = fact.stroke;
        }
    }
    static bool take_has_one_bow(const Recorder& take)
    {
        return std::all_of(take.facts().begin(), take.facts().end(), [](const Fact& fact) { return fact.desk == 0; });
    }

    const Wish wish_;
    test::Dice dice_;
    std::string takes_, file_, socket_;
    Studio studio_;
    Tally tally_;
    std::unique_ptr<SocketClient> follower_, idler_;
    int house_{0}, plays_{0};
    std::size_t players_{1};
    Ns delay_{0};
    bool stopping_{false}, may_give_up_{false}, playing_{false}, watching_{false}, sequencer_on_{false}, time_goes_on_{false};
    bool hears_other_keys_{false};     // than those that are struck
    std::optional<bool> told_missing_; // by the status, at the end
    TimeTeller teller_;
    Ns calm_since_{0}, disk_since_{-hour}, frozen_at_{-hour}, stand_up_at_{0}, passed_from_{0}, cable_until_{-hour},
        sequencer_waits_until_{0};
    Disk disk_{Disk::fine};
    int pace_{3}, last_key_{67};
    std::array<std::map<int, Channel>, 2> down_; // by hands
    std::set<int> sequenced_;
    std::vector<Message> expected_;
    std::vector<Struck> struck_;
    std::set<std::string> before_; // files of earlier lives
    std::size_t renewed_{0};       // of struck_: those before belong to players of before
};

} // namespace

Tally live(const Wish& wish) { return Day{wish}.live(); }

} // namespace bowarm::world
