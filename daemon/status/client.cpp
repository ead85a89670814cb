#include "status/client.hpp"

#include "status/json_text.hpp"
#include "status/token_file.hpp"

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

Client::Client(Socket socket, StatusSource& source, std::shared_ptr<Broadcast> broadcast, ClientTimes times, Gone gone)
    : socket_(std::move(socket)), source_(source), broadcast_(std::move(broadcast)), times_(times), gone_(std::move(gone)),
      patience_timer_(socket_.get_executor())
{
    error_code ignored;
    socket_.non_blocking(true, ignored);
}

void Client::start() { read(); }

void Client::start_locked(std::string token)
{
    locked_ = true;
    token_ = std::move(token);
    wait_for_token();
    read();
}

// Whoever does not know it must not keep a place for long.
void Client::wait_for_token()
{
    patience_timer_.expires_after(times_.patience);
    patience_timer_.async_wait([self = shared_from_this()](error_code cancelled) {
        if (!cancelled && !self->closed_ && self->locked_) self->leave();
    });
}

void Client::close()
{
    if (std::exchange(closed_, true)) return;
    error_code ignored;
    socket_.close(ignored);
    broadcast_->leave(*this);
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
    const std::string text = answer_rpc(line, [this](std::string_view method, const boost::json::value* params) {
        if (locked_ && method != "authenticate")
            throw RpcError{rpc_code::token_needed, "call authenticate first, with the token from the service's token file"};
        return call_method(method, params, source_, this);
    });
    if (!text.empty()) say(text);
    if (locked_ && ++lines_before_token_ >= lines_before_token_at_most)
        turn_away(rpc_code::token_needed, "too much was said before the token");
}

bool Client::authenticate(std::string_view token)
{
    locked_ = locked_ && !same_token(token, token_);
    return !locked_;
}

// --- going out

bool Client::owes_too_much() const { return outgoing_.size() + queued_.size() > owed_limit; }

void Client::say(const std::string& line)
{
    queued_ += line;
    queued_ += '\n';
    write();
}

// Most lines are taken at once and cost a call; only for the others is anything waited for.
void Client::write()
{
    if (closed_ || writing_ || queued_.empty()) return;
    outgoing_.swap(queued_);
    error_code full; // or broken, which the next write meets again
    const std::size_t taken = socket_.write_some(asio::buffer(outgoing_), full);
    if (!full && taken == outgoing_.size()) {
        outgoing_.clear();
        if (ending_) hang_up();
        return;
    }
    writing_ = true;
    patience_timer_.expires_after(times_.patience);
    patience_timer_.async_wait([self = shared_from_this()](error_code cancelled) {
        if (!cancelled && !self->closed_) self->leave();
    });
    asio::async_write(socket_, asio::buffer(outgoing_) + (full ? 0 : taken), [self = shared_from_this()](error_code problem, std::size_t) {
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
    if (locked_) wait_for_token();
    if (snapshot_due_) late_snapshot();
    // Lines that had to wait while the client owed too much; then the rest of the world.
    while (!closed_ && !ending_ && take_line()) {
    }
    read();
}

// --- snapshots and events

void Client::subscribe(const Subscription& wish)
{
    subscription_ = wish;
    snapshot_due_ = false;
    missed_ = 0;
    event_number_ = 0;
    events_missed_ = 0;
    broadcast_->join(*this); // the first snapshot follows the answer
}

void Client::unsubscribe()
{
    subscription_ = {};
    snapshot_due_ = false;
    broadcast_->leave(*this);
}

void Client::snapshot_due(const std::function<std::string(std::uint64_t)>& line)
{
    if (closed_) return;
    if (!writing_) return say(line(std::exchange(missed_, 0)));
    if (std::exchange(snapshot_due_, true)) ++missed_; // written() comes back to it
}

void Client::late_snapshot()
{
    snapshot_due_ = false;
    if (subscription_.player < source_.player_count()) say(snapshot_line(source_, subscription_.player, std::exchange(missed_, 0)));
}

void Client::event_happened(const Event& event)
{
    if (closed_ || ending_) return;
    ++event_number_;
    if (owes_too_much()) {
        ++events_missed_;
        return;
    }
    boost::json::object params = event.fields;
    params["number"] = event_number_;
    params["missed"] = std::exchange(events_missed_, 0);
    say(json_text(boost::json::object{{"jsonrpc", "2.0"}, {"method", "event"}, {"params", std::move(params)}}));
}

void Client::events_lost(std::uint64_t count)
{
    if (subscription_.events.none()) return;
    event_number_ += count;
    events_missed_ += count;
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
