#include "status/client.hpp"

#include <boost/asio/buffer.hpp>
#include <boost/asio/write.hpp>
#include <utility>

namespace bowarm
{
namespace asio = boost::asio;
using boost::system::error_code;

namespace
{
constexpr std::string_view too_long = "a line holds at most 65536 bytes";
}

Client::Client(Socket socket, StatusSource& source, ClientTimes times, Gone gone)
    : socket_(std::move(socket)), source_(source), times_(times), gone_(std::move(gone)), snapshot_timer_(socket_.get_executor()),
      patience_timer_(socket_.get_executor())
{
}

void Client::start() { read(); }

void Client::close()
{
    if (std::exchange(closed_, true)) return;
    error_code ignored;
    socket_.close(ignored);
    snapshot_timer_.cancel();
    patience_timer_.cancel();
}

void Client::turn_away(int code, std::string_view reason)
{
    unsubscribe();
    ending_ = true;
    incoming_.clear();
    say(rpc_error_line(code, reason));
}

// --- coming in

void Client::read()
{
    if (!ending_ && !owes_too_much()) receive();
}

void Client::receive()
{
    if (closed_ || std::exchange(reading_, true)) return;
    socket_.async_read_some(asio::buffer(chunk_), [self = shared_from_this()](error_code problem, std::size_t size) {
        self->reading_ = false;
        if (self->closed_) return;
        if (problem) return self->leave();
        self->received(size);
    });
}

void Client::received(std::size_t size)
{
    if (ending_) return receive(); // thrown away
    incoming_.append(chunk_.data(), size);
    while (!closed_ && !ending_ && take_line()) {
    }
    if (snapshot_due_) snapshot_is_due();
    if (!ending_ && incoming_.size() > line_limit + 1 && incoming_.find('\n') == std::string::npos)
        turn_away(rpc_code::invalid_request, too_long);
    read();
}

// False when there is no whole line, or when the client has enough answers to read first.
bool Client::take_line()
{
    if (owes_too_much()) return false;
    const auto end = incoming_.find('\n');
    if (end == std::string::npos) return false;
    std::string line = incoming_.substr(0, end);
    incoming_.erase(0, end + 1);
    if (!line.empty() && line.back() == '\r') line.pop_back();
    if (line.size() > line_limit)
        turn_away(rpc_code::invalid_request, too_long);
    else if (!line.empty())
        answer(line);
    return true;
}

void Client::answer(std::string_view line)
{
    std::string text = answer_rpc(
        line, [this](std::string_view method, const boost::json::value* params) { return call_method(method, params, source_, this); });
    if (!text.empty()) say(std::move(text));
}

// --- going out

bool Client::owes_too_much() const { return outgoing_.size() + queued_.size() > owed_limit; }

void Client::say(std::string line)
{
    queued_ += line;
    queued_ += '\n';
    write();
}

void Client::write()
{
    if (closed_ || writing_ || queued_.empty()) return;
    writing_ = true;
    outgoing_.swap(queued_);
    patience_timer_.expires_after(times_.patience);
    patience_timer_.async_wait([self = shared_from_this()](error_code cancelled) {
        if (!cancelled && !self->closed_) self->leave();
    });
    asio::async_write(socket_, asio::buffer(outgoing_), [self = shared_from_this()](error_code problem, std::size_t) {
        if (self->closed_) return;
        if (problem) return self->leave();
        self->written();
    });
}

void Client::written()
{
    writing_ = false;
    outgoing_.clear();
    patience_timer_.cancel();
    if (!queued_.empty()) return write();
    if (ending_) return hang_up();
    if (snapshot_due_) snapshot_is_due();
    // Lines that had to wait while the client owed too much; then the rest of the world.
    while (!closed_ && !ending_ && take_line()) {
    }
    read();
}

// --- snapshots

void Client::subscribe(std::size_t player, double rate)
{
    player_ = player;
    period_ = std::chrono::nanoseconds{static_cast<std::int64_t>(1e9 / rate)};
    missed_ = 0;
    subscribed_ = true;
    snapshot_due_ = true; // the first one follows the answer
    wait_for_snapshot();
}

void Client::unsubscribe()
{
    subscribed_ = false;
    snapshot_due_ = false;
    snapshot_timer_.cancel();
}

void Client::wait_for_snapshot()
{
    snapshot_timer_.expires_after(period_);
    snapshot_timer_.async_wait([self = shared_from_this()](error_code cancelled) {
        if (cancelled || self->closed_ || !self->subscribed_) return;
        if (std::exchange(self->snapshot_due_, true)) ++self->missed_;
        self->snapshot_is_due();
        self->wait_for_snapshot();
    });
}

void Client::snapshot_is_due()
{
    if (writing_ || closed_) return; // written() comes back to it
    snapshot_due_ = false;
    say(snapshot_line(source_, player_, std::exchange(missed_, 0)));
}

// --- ending

// The peer can still read what was said: sending ends here, and what it still sends is thrown away for a moment, because
// closing with unread bytes would reset the connection (unix(7) streams give ECONNRESET).
void Client::hang_up()
{
    error_code ignored;
    socket_.shutdown(Socket::shutdown_send, ignored);
    patience_timer_.expires_after(times_.farewell);
    patience_timer_.async_wait([self = shared_from_this()](error_code cancelled) {
        if (!cancelled && !self->closed_) self->leave();
    });
    receive();
}

void Client::leave()
{
    if (closed_) return;
    const auto self = shared_from_this(); // gone may drop the last owner
    close();
    gone_(*this);
}

} // namespace bowarm
