#include "status/methods.hpp"

#include "status/json_text.hpp"

#include <boost/json/array.hpp>
#include <cmath>
#include <initializer_list>
#include <string>

namespace bowarm
{
namespace json = boost::json;

namespace
{

// The parameters by name, all of them known; a mistyped name must not be passed over in silence.
class Named
{
public:
    Named(const json::value* params, std::initializer_list<std::string_view> known)
    {
        if (params == nullptr) return;
        if (const auto* array = params->if_array()) {
            if (!array->empty()) throw RpcError{rpc_code::invalid_params, "parameters are given by name: {\"rate\": 20}"};
            return;
        }
        object_ = &params->get_object();
        for (const auto& member : *object_) check(member.key(), known);
    }

    const json::value* find(std::string_view name) const { return object_ == nullptr ? nullptr : object_->if_contains(name); }

private:
    static void check(std::string_view name, std::initializer_list<std::string_view> known)
    {
        std::string list;
        for (const auto& each : known) {
            if (each == name) return;
            list += (list.empty() ? "" : ", ") + std::string{each};
        }
        throw RpcError{rpc_code::invalid_params, "unknown parameter \"" + std::string{name.substr(0, 40)} + "\"; " +
                                                     (list.empty() ? "this method takes none" : "this method takes " + list)};
    }

    const json::object* object_{nullptr};
};

double rate_of(const Named& params)
{
    const auto* value = params.find("rate");
    if (value == nullptr) return rate_usual;
    boost::system::error_code problem;
    const double rate = value->is_number() ? value->to_number<double>(problem) : std::nan("");
    if (problem || !(rate >= rate_low && rate <= rate_high))
        throw RpcError{rpc_code::invalid_params, "\"rate\" must be a number from 1 to 100 (snapshots a second)"};
    return rate;
}

std::size_t player_of(const Named& params, std::size_t players)
{
    const auto* value = params.find("player");
    if (value == nullptr && players > 0) return 0;
    if (value != nullptr && value->is_int64() && value->get_int64() >= 0 && static_cast<std::uint64_t>(value->get_int64()) < players)
        return static_cast<std::size_t>(value->get_int64());
    throw RpcError{rpc_code::invalid_params, "\"player\" must be a whole number from 0, below " + std::to_string(players)};
}

Subscriber& connection(Subscriber* subscriber)
{
    if (subscriber == nullptr) throw RpcError{rpc_code::not_now, "there is no connection to send snapshots to"};
    return *subscriber;
}

json::value version(StatusSource& source)
{
    return json::object{{"version", utf8_text(source.service().version)}, {"protocol", protocol_number}};
}

json::value status(StatusSource& source)
{
    json::array players;
    for (std::size_t i = 0; i < source.player_count(); ++i) players.emplace_back(snapshot_object(source.snapshot(i)));
    json::object result = service_object(source.service());
    result["protocol"] = protocol_number;
    result["players"] = std::move(players);
    return result;
}

json::value subscribe(const Named& params, StatusSource& source, Subscriber* subscriber)
{
    const double rate = rate_of(params);
    const std::size_t player = player_of(params, source.player_count());
    connection(subscriber).subscribe(player, rate);
    return json::object{{"player", player}, {"rate", rate}};
}

json::value command(StatusSource& source, Command command)
{
    if (!source.command(command, 0)) throw RpcError{rpc_code::not_now, "the engine has too many commands waiting; ask again"};
    return json::object{{"accepted", true}};
}

json::value alternate(const Named& params, StatusSource& source)
{
    const auto* on = params.find("on");
    if (on == nullptr || !on->is_bool()) throw RpcError{rpc_code::invalid_params, "\"on\" must be true or false"};
    return command(source, on->get_bool() ? Command::alternate_on : Command::alternate_off);
}

json::value tap(const Named& params, StatusSource& source)
{
    const auto* bar = params.find("bar");
    if (bar != nullptr && !bar->is_bool()) throw RpcError{rpc_code::invalid_params, "\"bar\" must be true or false"};
    return command(source, bar != nullptr && bar->get_bool() ? Command::tap_bar : Command::tap_beat);
}

json::value reload(StatusSource& source)
{
    const Reloading answer = source.reload();
    json::array reasons;
    for (const std::string& reason : answer.reasons) reasons.emplace_back(utf8_text(reason));
    return json::object{{"accepted", answer.accepted}, {"reasons", std::move(reasons)}};
}

json::value choose_player(const Named& params, StatusSource& source)
{
    const std::size_t player = player_of(params, source.player_count());
    if (!source.command(Command::choose_player, static_cast<std::uint8_t>(player)))
        throw RpcError{rpc_code::not_now, "the engine has too many commands waiting; ask again"};
    return json::object{{"accepted", true}};
}

} // namespace

json::value call_method(std::string_view method, const json::value* params, StatusSource& source, Subscriber* subscriber)
{
    if (method == "version") return Named{params, {}}, version(source);
    if (method == "status") return Named{params, {}}, status(source);
    if (method == "panic") return Named{params, {}}, command(source, Command::panic);
    if (method == "alternate") return alternate(Named{params, {"on"}}, source);
    if (method == "tap") return tap(Named{params, {"bar"}}, source);
    if (method == "reload") return Named{params, {}}, reload(source);
    if (method == "choose_player") return choose_player(Named{params, {"player"}}, source);
    if (method == "subscribe") return subscribe(Named{params, {"rate", "player"}}, source, subscriber);
    if (method == "unsubscribe") {
        const Named none{params, {}};
        connection(subscriber).unsubscribe();
        return json::object{{"subscribed", false}};
    }
    throw RpcError{rpc_code::method_not_found,
                   "there are version, status, subscribe, unsubscribe, alternate, panic, tap, choose_player and reload"};
}

std::string snapshot_line(StatusSource& source, std::size_t player, std::uint64_t missed)
{
    json::object params = snapshot_object(source.snapshot(player));
    params["player"] = player;
    params["missed"] = missed;
    return json_text(json::object{{"jsonrpc", "2.0"}, {"method", "snapshot"}, {"params", std::move(params)}});
}

std::string answer_line(const std::string& line, StatusSource& source)
{
    return answer_rpc(line,
                      [&](std::string_view method, const json::value* params) { return call_method(method, params, source, nullptr); });
}

} // namespace bowarm
