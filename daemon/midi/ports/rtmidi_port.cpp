#include "midi/ports/rtmidi_port.hpp"

#include "midi/ports/library_lines.hpp"

#include <algorithm>
#include <stdexcept>

namespace bowarm
{
namespace
{

// RtMidi opens by number, and the list may change between reading and opening: the name is read again afterwards.
void open_named(RtMidi& midi, RtMidiErrors& errors, const std::string& peer, const std::string& port)
{
    const std::vector<std::string> names = listed(midi);
    errors.check();
    const auto found = std::find(names.begin(), names.end(), peer);
    if (found == names.end()) throw std::runtime_error("the port \"" + peer + "\" is not there any more");
    const auto number = static_cast<unsigned>(found - names.begin());
    midi.openPort(number, port);
    errors.check();
    if (midi.getPortName(number) != peer) throw std::runtime_error("the list of ports changed while \"" + peer + "\" was opened");
    errors.check();
}

} // namespace

void RtMidiErrors::callback(RtMidiError::Type type, const std::string& text, void* self)
{
    if (type == RtMidiError::DEBUG_WARNING) return;
    auto& errors = *static_cast<RtMidiErrors*>(self);
    {
        const std::lock_guard lock{errors.mutex_};
        errors.text_ = text;
    }
    errors.any_.store(true, std::memory_order_release);
    add_library_line(text);
}

std::string RtMidiErrors::take()
{
    const std::lock_guard lock{mutex_};
    any_.store(false, std::memory_order_release);
    std::string text = std::move(text_);
    text_.clear();
    return text;
}

void RtMidiErrors::check()
{
    if (any()) throw std::runtime_error(take());
}

std::vector<std::string> listed(RtMidi& midi)
{
    std::vector<std::string> names;
    const unsigned count = midi.getPortCount();
    for (unsigned i = 0; i < count; ++i) names.push_back(midi.getPortName(i));
    return names;
}

RtMidiInput::RtMidiInput(RtMidi::Api api, const std::string& client, Receiver& receiver) : midi_(std::make_unique<RtMidiIn>(api, client, 1))
{
    midi_->setErrorCallback(RtMidiErrors::callback, &errors_);
    midi_->ignoreTypes(false, false, true); // a full frame of time code is an exclusive message
    midi_->setCallback(callback, &receiver);
    errors_.check();
}

void RtMidiInput::callback(double, std::vector<unsigned char>* bytes, void* receiver)
{
    if (bytes != nullptr) static_cast<Receiver*>(receiver)->received({bytes->data(), bytes->size()});
}

void RtMidiInput::open_virtual(const std::string& port)
{
    midi_->openVirtualPort(port);
    errors_.check();
}

void RtMidiInput::open_by_name(const std::string& peer, const std::string& port) { open_named(*midi_, errors_, peer, port); }

RtMidiOutput::RtMidiOutput(RtMidi::Api api, const std::string& client) : midi_(std::make_unique<RtMidiOut>(api, client))
{
    midi_->setErrorCallback(RtMidiErrors::callback, &errors_);
    errors_.check();
}

void RtMidiOutput::open_virtual(const std::string& port)
{
    midi_->openVirtualPort(port);
    errors_.check();
}

void RtMidiOutput::open_by_name(const std::string& peer, const std::string& port) { open_named(*midi_, errors_, peer, port); }

bool RtMidiOutput::send(const Message& message) noexcept
{
    try {
        midi_->sendMessage(message.bytes.data(), message.size);
    } catch (const std::exception&) {
        return false;
    }
    return !errors_.any();
}

} // namespace bowarm
