#include "status/broadcast.hpp"
#include "status/client.hpp"
#include "status/socket_file.hpp"
#include "status/token_file.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <sys/socket.h>
#include <unistd.h>
#include <utility>

namespace bowarm
{
namespace asio = boost::asio;
using boost::system::error_code;

namespace
{

// Ours, or root's, who may do everything anyway.
bool may_talk_to_us(int descriptor)
{
    ucred peer{};
    socklen_t size = sizeof peer;
    if (::getsockopt(descriptor, SOL_SOCKET, SO_PEERCRED, &peer, &size) != 0) return false;
    return peer.uid == ::geteuid() || peer.uid == 0;
}

// One door: accepts for as long as it lives.
template <class Protocol> class Door : public std::enable_shared_from_this<Door<Protocol>>
{
public:
    using Arrived = std::function<void(typename Protocol::socket)>;

    Door(typename Protocol::acceptor acceptor, Arrived arrived)
        : acceptor_(std::move(acceptor)), rest_(acceptor_.get_executor()), arrived_(std::move(arrived))
    {
    }

    void accept()
    {
        acceptor_.async_accept([self = this->shared_from_this()](error_code problem, typename Protocol::socket socket) {
            if (self->closed_) return;
            if (problem) return self->rest();
            self->arrived_(std::move(socket));
            self->accept();
        });
    }

    void close()
    {
        closed_ = true;
        error_code ignored;
        acceptor_.close(ignored);
        rest_.cancel();
    }

private:
    // No descriptor is free, for instance: trying again at once would only burn time.
    void rest()
    {
        rest_.expires_after(std::chrono::milliseconds{100});
        rest_.async_wait([self = this->shared_from_this()](error_code cancelled) {
            if (!cancelled && !self->closed_) self->accept();
        });
    }

    typename Protocol::acceptor acceptor_;
    asio::steady_timer rest_;
    Arrived arrived_;
    bool closed_{false};
};

asio::ip::tcp::acceptor loopback_acceptor(asio::io_context& io, std::uint16_t port)
{
    const asio::ip::tcp::endpoint here{asio::ip::address_v4::loopback(), port};
    asio::ip::tcp::acceptor acceptor{io};
    error_code problem;
    acceptor.open(here.protocol(), problem);
    if (!problem) acceptor.set_option(asio::ip::tcp::acceptor::reuse_address{true}, problem);
    if (!problem) acceptor.bind(here, problem);
    if (!problem) acceptor.listen(16, problem);
    if (problem)
        throw SocketProblem{problem.value(), "127.0.0.1:" + std::to_string(port) + ": " + problem.message() +
                                                 "; name another port in the configuration, [status] tcp_port"};
    return acceptor;
}

} // namespace

class StatusServer::Server
{
public:
    Server(asio::io_context& io, const StatusOptions& options, StatusSource& source)
        : file_(std::in_place, options.socket), source_(source), clients_at_most_(options.clients_at_most),
          broadcast_(std::make_shared<Broadcast>(io, source))
    {
        if (options.tcp_port != 0) {
            token_ = token_of(options.token_file);
            far_ = std::make_shared<Door<asio::ip::tcp>>(loopback_acceptor(io, options.tcp_port),
                                                         [this](asio::ip::tcp::socket socket) { arrived_from_afar(std::move(socket)); });
        }
        near_ = std::make_shared<Door<asio::local::stream_protocol>>(
            asio::local::stream_protocol::acceptor{io, asio::local::stream_protocol{}, file_->listen()},
            [this](asio::local::stream_protocol::socket socket) { arrived(std::move(socket)); });
    }

    void accept()
    {
        near_->accept();
        if (far_) far_->accept();
    }

    void close()
    {
        near_->close();
        if (far_) far_->close();
        file_.reset();
        broadcast_->close();
        for (const auto& client : std::exchange(clients_, {})) client->close();
    }

private:
    // Null: too many even to be told so.
    std::shared_ptr<Client> newcomer(Client::Socket socket)
    {
        if (clients_.size() >= 2 * clients_at_most_) return nullptr;
        const bool room = clients_.size() < clients_at_most_;
        const auto client = std::make_shared<Client>(std::move(socket), source_, broadcast_, ClientTimes{},
                                                     [this](Client& gone) { clients_.erase(gone.shared_from_this()); });
        clients_.insert(client);
        if (room) return client;
        client->turn_away(rpc_code::too_many_clients,
                          std::to_string(clients_at_most_) + " clients are connected already; close one of them");
        return nullptr;
    }

    void arrived(asio::local::stream_protocol::socket socket)
    {
        const bool ours = may_talk_to_us(socket.native_handle());
        const auto client = newcomer(std::move(socket));
        if (!client) return;
        if (ours)
            client->start();
        else
            client->turn_away(rpc_code::not_your_service, "the service answers only the user it runs for");
    }

    void arrived_from_afar(asio::ip::tcp::socket socket)
    {
        if (const auto client = newcomer(std::move(socket))) client->start_locked(token_);
    }

    std::optional<SocketFile> file_; // empty once closed: handlers that still wait must not keep the name
    StatusSource& source_;
    std::size_t clients_at_most_;
    std::shared_ptr<Broadcast> broadcast_;
    std::string token_;
    std::shared_ptr<Door<asio::local::stream_protocol>> near_;
    std::shared_ptr<Door<asio::ip::tcp>> far_; // null where TCP is not wished
    std::set<std::shared_ptr<Client>> clients_;
};

StatusServer::StatusServer(asio::io_context& io, const StatusOptions& options, StatusSource& source)
    : server_(std::make_shared<Server>(io, options, source))
{
    server_->accept();
}

StatusServer::~StatusServer() { server_->close(); }

} // namespace bowarm
