#include "midi/ports/jack_watcher.hpp"

#include "midi/ports/monotonic.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

std::vector<std::string> to_names(const char** list)
{
    std::vector<std::string> names;
    if (list == nullptr) return names;
    for (const char** name = list; *name != nullptr; ++name) names.emplace_back(*name);
    jack_free(list);
    return names;
}

} // namespace

JackWatcher::JackWatcher(std::shared_ptr<Wakeup> bell) : bell_(std::move(bell)) {}

std::shared_ptr<JackWatcher> JackWatcher::open(const std::string& client, std::shared_ptr<Wakeup> bell)
{
    std::shared_ptr<JackWatcher> watcher{new JackWatcher{std::move(bell)}};
    return watcher->start(client) ? watcher : nullptr;
}

bool JackWatcher::start(const std::string& client)
{
    jack_status_t status{};
    client_ = jack_client_open(client.c_str(), JackNoStartServer, &status);
    if (client_ == nullptr) return false;
    rate_ = std::max<std::uint32_t>(1, jack_get_sample_rate(client_));
    frames_.store(jack_get_buffer_size(client_), std::memory_order_relaxed);
    last_cycle_ns_.store(monotonic_ns(), std::memory_order_relaxed);

    jack_on_shutdown(
        client_,
        [](void* self) {
            static_cast<JackWatcher*>(self)->lost_.store(true, std::memory_order_release);
            static_cast<JackWatcher*>(self)->bell_->ring();
        },
        this);
    jack_set_process_callback(client_, on_cycle, this);
    jack_set_port_registration_callback(
        client_, [](jack_port_id_t, int, void* self) { static_cast<JackWatcher*>(self)->bell_->ring(); }, this);
    jack_set_port_connect_callback(
        client_, [](jack_port_id_t, jack_port_id_t, int, void* self) { static_cast<JackWatcher*>(self)->bell_->ring(); }, this);
    return jack_activate(client_) == 0;
}

JackWatcher::~JackWatcher()
{
    if (client_ != nullptr) jack_client_close(client_);
}

int JackWatcher::on_cycle(jack_nframes_t frames, void* self) noexcept
{
    auto& watcher = *static_cast<JackWatcher*>(self);
    watcher.frames_.store(frames, std::memory_order_relaxed);
    watcher.last_cycle_ns_.store(monotonic_ns(), std::memory_order_release);
    watcher.cycles_.fetch_add(1, std::memory_order_acq_rel);
    return 0;
}

Duration JackWatcher::period() const noexcept
{
    return {static_cast<std::int64_t>(frames_.load(std::memory_order_relaxed)) * 1'000'000'000 / static_cast<std::int64_t>(rate_)};
}

bool JackWatcher::stalled() const noexcept
{
    const Duration patience = std::max(milliseconds(2000), period() * 20);
    return monotonic_ns() - last_cycle_ns_.load(std::memory_order_acquire) > patience.ns;
}

std::vector<std::string> JackWatcher::ports(Ports which) const
{
    if (lost()) return {};
    const unsigned long flag = which == Ports::outputs ? JackPortIsOutput : JackPortIsInput;
    return to_names(jack_get_ports(client_, nullptr, JACK_DEFAULT_MIDI_TYPE, flag));
}

std::vector<std::string> JackWatcher::connections(const std::string& port) const
{
    if (lost()) return {};
    const jack_port_t* found = jack_port_by_name(client_, port.c_str());
    return found == nullptr ? std::vector<std::string>{} : to_names(jack_port_get_all_connections(client_, found));
}

bool JackWatcher::connect(const std::string& output, const std::string& input) const
{
    if (lost()) return false;
    // What counts is the list, not the answer: EEXIST is as good, and a port may have gone in between.
    static_cast<void>(jack_connect(client_, output.c_str(), input.c_str()));
    const std::vector<std::string> now = connections(output);
    return std::find(now.begin(), now.end(), input) != now.end();
}

std::string JackWatcher::version()
{
    const char* text = jack_get_version_string();
    return text == nullptr ? std::string{} : std::string{text};
}

} // namespace bowarm
