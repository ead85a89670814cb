// Real sockets: framing, subscriptions, and clients that are slow, rude or too many.
#include "live_service.hpp"
#include "status/client.hpp"
#include "status/rpc.hpp"

#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/local/connect_pair.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/json/parse.hpp>
#include <chrono>
#include <doctest/doctest.h>
#include <fstream>
#include <memory>
#include <string>
#include <thread>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;
namespace json = boost::json;

namespace
{

long resident_kib()
{
    std::ifstream statm{"/proc/self/statm"};
    long size = 0;
    long resident = 0;
    statm >> size >> resident;
    return resident * (::sysconf(_SC_PAGESIZE) / 1024);
}

Fact stroke(std::uint32_t number, Direction direction, bool retake = false)
{
    Fact fact;
    fact.kind = FactKind::stroke_began;
    fact.stroke = number;
    fact.direction = direction;
    fact.retake = retake;
    return fact;
}

std::string follow_line(const std::string& events)
{
    return R"({"jsonrpc":"2.0","id":1,"method":"subscribe","params":{"events":[)" + events + "]}}\n";
}

std::string wait_for_event(Peer& peer, json::object& params)
{
    params = peer.message().at("params").as_object();
    return params.at("event").as_string().c_str();
}

} // namespace

TEST_CASE("requests are lines: LF and CRLF and empty lines and pieces")
{
    Service service;
    Peer peer{service};
    peer.send("\n\r\n" + ask_version + "\r\n" + ask_version + "\n" + ask_version.substr(0, 9));
    CHECK(peer.message().if_contains("result") != nullptr);
    CHECK(peer.message().if_contains("result") != nullptr);
    std::this_thread::sleep_for(std::chrono::milliseconds{20});
    peer.send(ask_version.substr(9) + "\n");
    CHECK(peer.message().at("id") == 1);
}

TEST_CASE("after a malformed line the connection goes on")
{
    Service service;
    Peer peer{service};
    peer.send("{\"jsonrpc\n");
    CHECK(peer.error_code() == -32700);
    CHECK(answers(peer));
}

TEST_CASE("a subscription gives snapshots at its rate until it ends")
{
    Service service;
    Peer peer{service};
    peer.send(subscribe_line(100));
    CHECK(peer.message().at("result").as_object().at("rate").to_number<double>() == 100);
    const auto begin = std::chrono::steady_clock::now();
    std::int64_t last = 0;
    for (int i = 0; i < 31; ++i) {
        const auto message = peer.message();
        CHECK(message.at("method").as_string() == "snapshot");
        CHECK(message.if_contains("id") == nullptr); // a notification
        const auto at = message.at("params").as_object().at("at_ns").as_int64();
        CHECK(at > last);
        last = at;
    }
    // The first comes at once, thirty more take 0.3 s; a busy machine may take longer, never less.
    const auto took = std::chrono::steady_clock::now() - begin;
    CHECK(took > std::chrono::milliseconds{290});
    CHECK(took < std::chrono::seconds{4});
    peer.send(R"({"jsonrpc":"2.0","id":9,"method":"unsubscribe"})"
              "\n");
    while (peer.message().if_contains("id") == nullptr) {
    }
    const auto before = service.source.snapshots.load();
    std::this_thread::sleep_for(std::chrono::milliseconds{60});
    CHECK(service.source.snapshots == before); // nobody listens, nothing is made
    CHECK(answers(peer));
}

TEST_CASE("subscribing again changes the rate and does not double it")
{
    Service service;
    Peer peer{service};
    for (int i = 0; i < 5; ++i) peer.send(subscribe_line(100));
    peer.send(subscribe_line(10));
    std::this_thread::sleep_for(std::chrono::milliseconds{550});
    const auto made = service.source.snapshots.load();
    CHECK(made >= 3);
    CHECK(made <= 13); // six first ones, and five or six at ten a second
}

TEST_CASE("a subscription sent as a notification gives snapshots without an answer")
{
    Service service;
    Peer peer{service};
    peer.send(R"({"jsonrpc":"2.0","method":"subscribe","params":{"rate":1}})"
              "\n");
    CHECK(peer.message().at("method").as_string() == "snapshot");
}

TEST_CASE("a line of 64 KiB is read and a longer one ends the connection with a reason")
{
    Service service;
    {
        Peer peer{service};
        const std::string padding(line_limit - ask_version.size(), ' ');
        peer.send(ask_version + padding + "\n");
        CHECK(peer.message().if_contains("result") != nullptr);
        peer.send(ask_version + padding + " \n");
        CHECK(peer.error_code() == -32600);
        CHECK(peer.ended());
    }
    Peer peer{service};
    std::thread sender{[&] { peer.send(std::string(8'000'000, 'x')); }}; // never a line end
    CHECK(peer.error_code() == -32600);
    CHECK(peer.ended());
    sender.join();
    Peer next{service};
    CHECK(answers(next));
}

TEST_CASE("a client that does not read gets the newest snapshot and costs bounded memory")
{
    Service service;
    Peer slow{service};
    Peer brisk{service};
    slow.send(subscribe_line(100));
    CHECK(slow.message().if_contains("result") != nullptr);
    // As many requests as anybody takes, until the answers nobody reads have filled the kernel's buffers and ours.
    const std::string request = R"({"jsonrpc":"2.0","id":1,"method":"status"})"
                                "\n";
    const auto pile_up = [&] {
        std::size_t taken = 0;
        for (int round = 0; round < 100; ++round) {
            for (int i = 0; i < 500; ++i) taken += slow.send(request, MSG_DONTWAIT);
            std::this_thread::sleep_for(std::chrono::milliseconds{4});
        }
        return taken;
    };
    pile_up();
    const long before = resident_kib();
    CHECK(pile_up() < 1000 * request.size()); // it is not even read any more: 50 000 were offered
    CHECK(resident_kib() - before < 4 * 1024);
    CHECK(answers(brisk)); // meanwhile nobody else waits

    // When it reads again, the first snapshot it meets was made after it had begun to read, and says how many it missed.
    const auto made = service.source.snapshots.load();
    for (;;) {
        const auto message = slow.message();
        if (message.if_contains("method") == nullptr) continue;
        const auto& params = message.at("params").as_object();
        if (params.at("missed").as_int64() == 0) continue;
        CHECK(params.at("at_ns").as_int64() > made);
        CHECK(params.at("missed").as_int64() > 20);
        break;
    }
}

TEST_CASE("a client that takes nothing for too long is cut")
{
    FakeSource source;
    boost::asio::io_context io;
    boost::asio::local::stream_protocol::socket ours{io};
    boost::asio::local::stream_protocol::socket theirs{io};
    boost::asio::local::connect_pair(ours, theirs);
    bool gone = false;
    const ClientTimes hasty{std::chrono::milliseconds{100}, std::chrono::milliseconds{100}};
    const auto broadcast = std::make_shared<Broadcast>(io, source);
    auto client = std::make_shared<Client>(std::move(ours), source, broadcast, hasty, [&](Client&) { gone = true; });
    client->start();
    std::string batch = "[";
    for (int i = 0; i < 100; ++i) batch += std::string(i == 0 ? "" : ",") + R"({"jsonrpc":"2.0","id":1,"method":"status"})";
    batch += "]\n";
    theirs.non_blocking(true);
    std::thread writer{[&] {
        for (int i = 0; i < 40; ++i) {
            boost::system::error_code problem;
            theirs.write_some(boost::asio::buffer(batch), problem);
            std::this_thread::sleep_for(std::chrono::milliseconds{2});
        }
    }};
    io.run_for(std::chrono::seconds{5}); // ends as soon as nothing waits any more
    writer.join();
    CHECK(gone);
}

TEST_CASE("one client too many is told so and room is made when one leaves")
{
    Service service; // four at most
    auto first = std::make_unique<Peer>(service);
    Peer second{service};
    Peer third{service};
    Peer fourth{service};
    for (auto* peer : {first.get(), &second, &third, &fourth}) CHECK(answers(*peer));
    {
        Peer fifth{service};
        const auto error = fifth.message().at("error").as_object();
        CHECK(error.at("code").as_int64() == -32001);
        CHECK(error.at("data").as_string().find("4 clients") != std::string::npos);
        CHECK(fifth.ended());
    }
    first.reset();
    std::this_thread::sleep_for(std::chrono::milliseconds{100});
    Peer late{service};
    CHECK(answers(late));
}

TEST_CASE("clients that come and go in the middle of things leave nothing behind")
{
    Service service;
    for (int i = 0; i < 200; ++i) {
        Peer peer{service};
        peer.send(subscribe_line(100) + ask_version.substr(0, static_cast<std::size_t>(i) % ask_version.size()));
        if (i % 3 == 0) peer.line();
    }
    std::this_thread::sleep_for(std::chrono::milliseconds{100});
    Peer peer{service};
    CHECK(answers(peer));
    std::this_thread::sleep_for(std::chrono::milliseconds{50});
    const auto before = service.source.snapshots.load();
    std::this_thread::sleep_for(std::chrono::milliseconds{50});
    CHECK(service.source.snapshots == before); // no timer of a client that is gone still runs
}

TEST_CASE("the service ends under a crowd of subscribers")
{
    auto service = std::make_unique<Service>();
    Peer one{*service};
    Peer two{*service};
    for (auto* peer : {&one, &two}) peer->send(subscribe_line(100));
    CHECK(one.message().if_contains("result") != nullptr);
    service.reset();
    while (!one.line().empty()) {
    }
    CHECK(one.ended());
}

TEST_CASE("events are told in order, numbered, and only those asked for")
{
    Service service;
    Peer peer{service};
    peer.send(follow_line(R"("stroke","bow-change","retake","warning")"));
    CHECK(peer.message().at("result").as_object().at("rate").is_null()); // events alone: no snapshots
    CHECK(service.source.facts_wanted);
    Fact warning;
    warning.kind = FactKind::warning;
    warning.warning = Warning::out_of_range;
    Fact note;
    note.kind = FactKind::note_began; // not asked for
    service.source.happens(note);
    service.source.happens(stroke(0, Direction::down));
    service.source.happens(stroke(1, Direction::up, true));
    service.source.happens(warning);
    json::object params;
    int number = 0;
    for (const auto* expected : {"stroke", "stroke", "bow-change", "retake", "warning"}) {
        CHECK(wait_for_event(peer, params) == expected);
        CHECK(params.at("number").as_int64() == ++number);
        CHECK(params.at("missed").as_int64() == 0);
    }
    CHECK(params.at("code").as_string() == "out-of-range");
    service.source.lost_facts = 7;
    while (service.source.lost_facts != 0) std::this_thread::sleep_for(std::chrono::milliseconds{5});
    service.source.happens(warning);
    CHECK(wait_for_event(peer, params) == "warning");
    CHECK(params.at("number").as_int64() == number + 8); // the gap is in the numbers
    CHECK(params.at("missed").as_int64() == 7);
    peer.send(R"({"jsonrpc":"2.0","id":9,"method":"unsubscribe"})"
              "\n");
    CHECK(peer.message().at("id") == 9);
    CHECK(!service.source.facts_wanted);
}
