// One RtMidi object, made and opened with every error caught and looked at.
//   Once an error callback is set RtMidi's calls no longer throw: the last error is kept here and checked after each call.
//   thread   one at a time.  Real-time safe: no, but for what the callback does.
//   Errors   std::runtime_error with RtMidi's text.
//   source   RtMidi 5.0.0, RtMidi.h and RtMidi.cpp.
#pragma once

#include "midi/port.hpp"

#include <rtmidi/RtMidi.h>

#include <atomic>
#include <memory>
#include <mutex>
#include <string>

namespace bowarm
{

// Where RtMidi's error callback leaves its text; worker threads of RtMidi may call it.
class RtMidiErrors
{
public:
    static void callback(RtMidiError::Type type, const std::string& text, void* self);
    // Throws the error that came since the last check, if one came.
    void check();
    std::string take();
    bool any() const noexcept { return any_.load(std::memory_order_acquire); }

private:
    std::mutex mutex_;
    std::string text_;
    std::atomic<bool> any_{false};
};

class RtMidiInput
{
public:
    // Clock is heard; system exclusive and active sensing are left out.
    RtMidiInput(RtMidi::Api api, const std::string& client, Receiver& receiver);
    void open_virtual(const std::string& port);
    void open_by_name(const std::string& peer, const std::string& port);

private:
    static void callback(double, std::vector<unsigned char>* bytes, void* receiver);
    RtMidiErrors errors_;
    std::unique_ptr<RtMidiIn> midi_;
};

class RtMidiOutput
{
public:
    RtMidiOutput(RtMidi::Api api, const std::string& client);
    void open_virtual(const std::string& port);
    void open_by_name(const std::string& peer, const std::string& port);
    // False after an error: the object is of no more use.
    bool send(const Message& message) noexcept;
    bool failed() const noexcept { return errors_.any(); }

private:
    RtMidiErrors errors_;
    std::unique_ptr<RtMidiOut> midi_;
};

// Names as RtMidi lists them; one object for the life of the program, because each is a client of the system.
std::vector<std::string> listed(RtMidi& midi);

} // namespace bowarm
