#include "studio/script_player.hpp"

#include "studio/engine_thread.hpp"

#include <chrono>
#include <thread>
#include <unistd.h>

namespace bowarm
{
namespace
{

constexpr Duration first_look = milliseconds(3000);
constexpr Duration closing_at_most = milliseconds(1900);
constexpr auto between_looks = std::chrono::milliseconds(20);

class ScriptPlayer
{
public:
    explicit ScriptPlayer(ScriptWish wish)
        : wish_(std::move(wish)), lines_(std::make_shared<Lines>()),
          engine_(LiveEngine{ensemble_of(wish_.settings.player, *lines_), wish_.script, *lines_}, *lines_),
          keeper_(midi(), lines_, wish_.open_system)
    {
    }

    ScriptOutcome play()
    {
        keeper_.start();
        const ScriptOutcome found = find_listener();
        if (found != ScriptOutcome::whole) {
            close();
            return found;
        }
        engine_.start();
        keeper_.playing();
        while (!stopped() && !lines_->counts.script_over.load()) {
            wish_.playing(lines_->clock.now());
            keeper_.abandon_stuck_senders();
            std::this_thread::sleep_for(between_looks);
        }
        const bool whole = !stopped();
        lines_->from_service.push(command_input(lines_->clock.now(), Command::panic));
        lines_->engine_wake.ring();
        engine_.caught_up(milliseconds(200));
        close();
        return whole ? ScriptOutcome::whole : ScriptOutcome::stopped;
    }

private:
    MidiSettings midi() const
    {
        MidiSettings midi = wish_.settings.midi;
        midi.inputs.clear();
        midi.outputs = {midi.outputs.at(wish_.settings.players.front().output)};
        return midi;
    }

    bool stopped() const { return wish_.stop != nullptr && *wish_.stop != 0; }

    // whole: somebody listens.
    ScriptOutcome find_listener()
    {
        const std::int64_t began = monotonic_ns();
        bool told = false;
        while (!stopped()) {
            const PortView view = keeper_.view();
            for (const PortView::Port& port : view.ports)
                if (port.role == "out" && !port.connected.empty()) return ScriptOutcome::whole;
            const Duration waited{monotonic_ns() - began};
            if ((view.looked || waited > first_look) && view.system == "none") return ScriptOutcome::no_system;
            if (waited > wish_.patience) return ScriptOutcome::no_listener;
            if (view.looked && !told) {
                told = true;
                wish_.waiting();
            }
            std::this_thread::sleep_for(between_looks);
        }
        return ScriptOutcome::stopped;
    }

    // A thread inside the MIDI library may never come back, and would use what a return destroys.
    void close()
    {
        const bool closed = keeper_.finish(closing_at_most);
        engine_.stop();
        if (!closed) ::_exit(stopped() ? 0 : 69);
    }

    ScriptWish wish_;
    std::shared_ptr<Lines> lines_;
    EngineThread engine_;
    PortKeeper keeper_;
};

} // namespace

ScriptOutcome play_script(ScriptWish wish) { return ScriptPlayer{std::move(wish)}.play(); }

} // namespace bowarm
