#include "status/client.hpp"
#include "status/socket_file.hpp"

#include <boost/asio/steady_timer.hpp>
#include <chrono>
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

} // namespace

class StatusServer::Server : public std::enable_shared_from_this<StatusServer::Server>
{
public:
    Server(asio::io_context& io, const StatusOptions& options, StatusSource& source)
        : file_(std::in_place, options.socket), acceptor_(io, asio::local::stream_protocol{}, file_->listen()), rest_(io), source_(source),
          clients_at_most_(options.clients_at_most)
    {
    }

    void accept()
    {
        acceptor_.async_accept([self = shared_from_this()](error_code problem, Client::Socket socket) {
            if (self->closed_) return;
            if (problem) return self->rest();
            self->arrived(std::move(socket));
            self->accept();
        });
    }

    void close()
    {
        closed_ = true;
        error_code ignored;
        acceptor_.close(ignored);
        rest_.cancel();
        file_.reset();
        for (const auto& client : std::exchange(clients_, {})) client->close();
    }

private:
    // No descriptor is free, for instance: trying again at once would only burn time.
    void rest()
    {
        rest_.expires_after(std::chrono::milliseconds{100});
        rest_.async_wait([self = shared_from_this()](error_code cancelled) {
            if (!cancelled && !self->closed_) self->accept();
        });
    }

    void arrived(Client::Socket socket)
    {
        if (clients_.size() >= 2 * clients_at_most_) return; // too many even to be told so
        const bool ours = may_talk_to_us(socket.native_handle());
        const bool room = clients_.size() < clients_at_most_;
        const auto client = std::make_shared<Client>(std::move(socket), source_, ClientTimes{},
                                                     [this](Client& gone) { clients_.erase(gone.shared_from_this()); });
        clients_.insert(client);
        if (!ours)
            client->turn_away(rpc_code::not_your_service, "the service answers only the user it runs for");
        else if (!room)
            client->turn_away(rpc_code::too_many_clients,
                              std::to_string(clients_at_most_) + " clients are connected already; close one of them");
        else
            client->start();
    }

    std::optional<SocketFile> file_; // empty once closed: handlers that still wait must not keep the name
    asio::local::stream_protocol::acceptor acceptor_;
    asio::steady_timer rest_;
    StatusSource& source_;
    std::size_t clients_at_most_;
    std::set<std::shared_ptr<Client>> clients_;
    bool closed_{false};
};

StatusServer::StatusServer(asio::io_context& io, const StatusOptions& options, StatusSource& source)
    : server_(std::make_shared<Server>(io, options, source))
{
    server_->accept();
}

StatusServer::~StatusServer() { server_->close(); }

} // namespace bowarm
