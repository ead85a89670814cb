// The questions of `bowarmd setup`: what the person does at the keyboard is shown, confirmed and gathered.
//   in       messages and answers in the order in which they came, through Talk
//   out      what is to be written; nothing is written here
//   thread   any; it waits in Talk::next.  Real-time safe: no.
//   Errors   Left when the person leaves, or when no answer can come any more.
#pragma once

#include "bow/instrument.hpp"
#include "hear/controls.hpp"
#include "studio/controls_text.hpp"
#include "studio/keyswitches_text.hpp"

#include <exception>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm
{

struct NoMoreAnswers {
};
// A message that was heard, or a line that was typed.
using Turn = std::variant<Message, std::string, NoMoreAnswers>;

class Talk
{
public:
    virtual ~Talk() = default;
    virtual void say(std::string_view line) = 0;
    // What is known so far; the next one takes its place.
    virtual void show(std::string_view line) = 0;
    virtual Turn next() = 0;
};

class Left : public std::exception
{
public:
    explicit Left(bool by_choice) : by_choice_(by_choice) {}
    bool by_choice() const { return by_choice_; } // false: the answers ended

private:
    bool by_choice_;
};

ControlsWish ask_for_controls(Talk& talk, const Controls& now, const Instrument& instrument);
std::vector<KeyswitchWish> ask_for_keyswitches(Talk& talk, const Instrument& instrument);

// A line of text; `def` when nothing was typed.
std::string ask_for_line(Talk& talk, std::string_view question, std::string_view def);

} // namespace bowarm
