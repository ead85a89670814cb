#include "studio/setup_talk.hpp"

#include "studio/control_listener.hpp"
#include "studio/text_array.hpp"
#include "studio/toml_places.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <functional>

namespace bowarm
{
namespace
{

constexpr int sustain_pedal = 64; // MIDI 1.0, controller numbers
constexpr int least_way = 40;     // of a pedal; what moves less was brushed, or stopped half way
constexpr std::string_view choices =
    "Enter: keep it   again: forget it and listen anew   s: leave this as it is   done: no more questions   q: quit";

// A question that is answered by doing something; what was done is shown at once, and Enter keeps it.
struct Question {
    std::string text;
    std::function<std::string(const ControlListener&)> heard;   // in words; empty: nothing yet
    std::function<std::string(const ControlListener&)> refused; // why it cannot be kept; empty: it can
};

enum class Answer { kept, left, none };

class Asking
{
public:
    explicit Asking(Talk& talk) : talk_(talk) {}

    // What was kept stands in listener().
    Answer ask(const Question& question)
    {
        if (done_) return Answer::left;
        listener_.forget();
        talk_.say("");
        talk_.say(question.text);
        while (true) {
            const Turn turn = talk_.next();
            if (const auto* message = std::get_if<Message>(&turn)) {
                hear(*message, question);
                continue;
            }
            const auto* line = std::get_if<std::string>(&turn);
            if (line == nullptr || *line == "q") throw Left{line != nullptr};
            if (*line == "s") return Answer::left;
            if (*line == "none") return Answer::none;
            if (*line == "done") {
                done_ = true;
                return Answer::left;
            }
            if (*line == "again") {
                listener_.forget();
                talk_.say("  listening anew");
            } else if (!line->empty()) {
                talk_.say(std::string{"  "} + std::string{choices});
            } else if (keeps(question)) {
                return Answer::kept;
            }
        }
    }
    const ControlListener& listener() const { return listener_; }

private:
    void hear(const Message& message, const Question& question)
    {
        const std::string before = question.heard(listener_);
        listener_.hear(message);
        const std::string now = question.heard(listener_);
        if (now != before) talk_.show("  " + now);
    }

    bool keeps(const Question& question)
    {
        const std::string heard = question.heard(listener_);
        if (heard.empty()) {
            talk_.say("  nothing heard yet; do it and press Enter, or s to leave this as it is");
            return false;
        }
        const std::string trouble = question.refused(listener_);
        talk_.say("  " + heard + (trouble.empty() ? "" : ": " + trouble));
        return trouble.empty();
    }

    Talk& talk_;
    ControlListener listener_;
    bool done_{false};
};

std::string control_word(PersonController kind, Midi7 number)
{
    if (kind == PersonController::none) return "none";
    if (kind == PersonController::channel_pressure) return "channel pressure";
    return "cc " + std::to_string(number.get());
}

std::string said(const SlidingControl& c, bool turned)
{
    std::string text =
        control_word(c.kind, c.number) + ", from " + std::to_string(c.lowest.get()) + " to " + std::to_string(c.highest.get());
    if (turned) text += ", the other way round";
    if (c.fine) text += ", of 14 bits: its high half is used";
    return text;
}

// --- pedals

class ControlQuestions
{
public:
    ControlQuestions(Talk& talk, const Controls& now, const Instrument& instrument)
        : talk_(talk), asking_(talk), now_(now), instrument_(instrument)
    {
    }

    ControlsWish ask()
    {
        talk_.say(std::string{choices});
        ask_sliding("loudness", now_.loudness,
                    "LOUDNESS: move the pedal, wheel or breath controller to both ends, and leave it at the loud one.");
        ask_sliding("contact_point", now_.contact_point,
                    "CONTACT POINT (fingerboard to bridge): move its wheel or pedal to both ends, and leave it at the bridge.");
        ask_pedal();
        for (int i = 0; i < technique_count; ++i)
            ask_key("technique " + std::string{technique_word(static_cast<Technique>(i))},
                    {ActionKind::select_technique, static_cast<Technique>(i)});
        ask_key("read technique", {ActionKind::read_technique, {}});
        ask_key("bypass", {ActionKind::bypass, {}});
        ask_key("panic", {ActionKind::panic, {}});
        return std::move(wish_);
    }

private:
    void ask_sliding(const std::string& name, const PersonControl& now, const std::string& text)
    {
        const Question question{
            text + "\n  now: " + control_word(now.kind, now.number) + "; none: there is no such control",
            [](const ControlListener& l) {
                const auto c = l.sliding();
                return c ? said(*c, c->ends_low) : std::string{};
            },
            [this](const ControlListener& l) { return trouble_with(*l.sliding()); },
        };
        switch (asking_.ask(question)) {
        case Answer::kept:
            return keep_sliding(name, *asking_.listener().sliding());
        case Answer::none:
            return keep(name, "\"none\"");
        case Answer::left:
            return;
        }
    }

    std::string trouble_with(const SlidingControl& c) const
    {
        if (c.steps) return "that is a switch, it has no values between; move one that slides, or s to leave this as it is";
        if (c.highest.get() - c.lowest.get() < least_way) return "only a part of the way; move it to both ends";
        for (const auto& [name, value] : wish_.values)
            if (value == toml_text(control_word(c.kind, c.number))) return "it is " + name + " already; move another one";
        return {};
    }

    void keep_sliding(const std::string& name, const SlidingControl& c)
    {
        keep(name, toml_text(control_word(c.kind, c.number)));
        keep(name + "_from", std::to_string((c.ends_low ? c.highest : c.lowest).get()));
        keep(name + "_to", std::to_string((c.ends_low ? c.lowest : c.highest).get()));
    }

    void ask_pedal()
    {
        const Question question{
            "SUSTAIN PEDAL: press it and let it go.  While it is down the bow keeps its direction.\n  none: it does nothing",
            [](const ControlListener& l) {
                const auto p = l.pedal();
                return p ? "cc " + std::to_string(p->number.get()) + (p->turned ? ", the other way round" : "") : std::string{};
            },
            [](const ControlListener& l) {
                const auto p = l.pedal();
                const bool stuck = p->turned && p->number.get() == sustain_pedal;
                return std::string{stuck ? "it says that it is down when it is up; turn the switch on the pedal, or plug it in before the "
                                           "keyboard is switched on"
                                         : ""};
            },
        };
        const Answer answer = asking_.ask(question);
        if (answer == Answer::none) return keep("sustain", "\"ignore\"");
        if (answer == Answer::left) return;
        const PressedPedal pedal = *asking_.listener().pedal();
        if (pedal.number.get() == sustain_pedal) return keep("sustain", "\"same bow\"");
        wish_.controllers.push_back(
            {"same bow", pedal.number, Midi7::nearest(pedal.turned ? 0 : 64), Midi7::nearest(pedal.turned ? 63 : 127)});
    }

    // --- keys

    void ask_key(const std::string& does, const Action& action)
    {
        const Question question{
            "KEY for \"" + does + "\": press it." + now_does(action),
            [](const ControlListener& l) { return l.keys().empty() ? std::string{} : key_word(l.keys().back().get()); },
            [this](const ControlListener& l) { return trouble_with(l.keys().back()); },
        };
        if (asking_.ask(question) == Answer::kept) wish_.keys.push_back({does, asking_.listener().keys().back()});
    }

    std::string now_does(const Action& action) const
    {
        for (std::size_t key = 0; key < now_.keys.size(); ++key) {
            const Action& other = now_.keys[key];
            if (other.kind == action.kind && (action.kind != ActionKind::select_technique || other.technique == action.technique))
                return "  now: " + key_word(static_cast<std::uint8_t>(key));
        }
        return {};
    }

    std::string trouble_with(Midi7 key) const
    {
        if (key >= instrument_.lowest_key && key <= instrument_.highest_key)
            return "a note of the " + std::string{text_of(instrument_.name)} + ", which could not sound any more; press one outside " +
                   key_word(instrument_.lowest_key.get()) + " to " + key_word(instrument_.highest_key.get());
        for (const KeyWish& other : wish_.keys)
            if (other.key == key) return "it is \"" + other.does + "\" already; press another one";
        return {};
    }

    void keep(const std::string& name, const std::string& value) { wish_.values.emplace_back(name, value); }

    Talk& talk_;
    Asking asking_;
    const Controls& now_;
    const Instrument& instrument_;
    ControlsWish wish_;
};

// --- the sampler's keys

std::string said_keyswitches(const std::vector<Midi7>& keys)
{
    if (keys.empty()) return {};
    if (keys.size() == 1) return "keyswitch " + key_word(keys.back().get());
    return "down-bow " + key_word(keys[keys.size() - 2].get()) + ", up-bow " + key_word(keys.back().get());
}

std::string trouble_with_keyswitches(const std::vector<Midi7>& keys, const Instrument& instrument)
{
    const std::size_t first = keys.size() > 1 ? keys.size() - 2 : 0;
    for (std::size_t i = first; i < keys.size(); ++i)
        if (keys[i] >= instrument.lowest_key && keys[i] <= instrument.highest_key)
            return key_word(keys[i].get()) + " is a note of the " + std::string{text_of(instrument.name)} +
                   "; type again, and press only the keyswitch";
    return {};
}

} // namespace

ControlsWish ask_for_controls(Talk& talk, const Controls& now, const Instrument& instrument)
{
    return ControlQuestions{talk, now, instrument}.ask();
}

std::vector<KeyswitchWish> ask_for_keyswitches(Talk& talk, const Instrument& instrument)
{
    talk.say("Press, for each technique, the key that selects it in your sampler; where it has one for down-bows and one for up-bows, the");
    talk.say("down-bow's first.  What you play goes straight to the sampler, so that you hear it.  A technique left out stays as it is.");
    talk.say(choices);
    Asking asking{talk};
    std::vector<KeyswitchWish> out;
    for (int i = 0; i < technique_count; ++i) {
        const auto technique = static_cast<Technique>(i);
        const Question question{
            "KEYSWITCH of " + std::string{technique_word(technique)},
            [](const ControlListener& l) { return said_keyswitches(l.keys()); },
            [&](const ControlListener& l) { return trouble_with_keyswitches(l.keys(), instrument); },
        };
        if (asking.ask(question) != Answer::kept) continue;
        const std::vector<Midi7>& keys = asking.listener().keys();
        if (keys.size() == 1)
            out.push_back({technique, keys.back(), {}});
        else
            out.push_back({technique, keys[keys.size() - 2], keys.back()});
    }
    return out;
}

std::string ask_for_line(Talk& talk, std::string_view question, std::string_view def)
{
    talk.say("");
    talk.say(question);
    while (true) {
        const Turn turn = talk.next();
        if (std::holds_alternative<Message>(turn)) continue;
        const auto* line = std::get_if<std::string>(&turn);
        if (line == nullptr || *line == "q") throw Left{line != nullptr};
        return line->empty() ? std::string{def} : *line;
    }
}

} // namespace bowarm
