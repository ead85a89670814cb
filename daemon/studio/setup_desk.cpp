#include "studio/setup_desk.hpp"

#include <algorithm>

namespace bowarm
{

class Setups::SocketTalk final : public Talk
{
public:
    explicit SocketTalk(Setups& desk) : desk_(desk) {}

    void say(std::string_view line) override
    {
        const std::lock_guard lock{desk_.mutex_};
        desk_.said_.emplace_back(line);
        desk_.heard_.clear();
    }
    void show(std::string_view line) override
    {
        const std::lock_guard lock{desk_.mutex_};
        desk_.heard_ = line;
    }
    // What was played comes before what was answered afterwards.
    Turn next() override
    {
        HeardQueue& heard = desk_.lines_->heard;
        while (true) {
            if (Message message; heard.pop(message)) return message;
            {
                const std::lock_guard lock{desk_.mutex_};
                if (desk_.stopping_) return std::string{"q"};
                if (!desk_.answers_.empty()) {
                    std::string line = std::move(desk_.answers_.front());
                    desk_.answers_.pop_front();
                    desk_.waiting_ = false;
                    return line;
                }
                desk_.waiting_ = true;
            }
            heard.bell.doze(std::nullopt, [&] { return !heard.waiting(); });
        }
    }

private:
    Setups& desk_;
};

Setups::~Setups() { stop(); }

bool Setups::start(std::string_view part)
{
    {
        const std::lock_guard lock{mutex_};
        if (running_) return false;
    }
    stop(); // the thread of the last one
    said_.clear();
    heard_.clear();
    answers_.clear();
    running_ = true;
    waiting_ = stopping_ = false;
    for (Message old; lines_->heard.pop(old);) {
    }
    lines_->heard.want(true);
    const SetupPart which = part == "keyswitches" ? SetupPart::keyswitches : SetupPart::controls;
    thread_ = std::thread{[this, which, settings = settings_()] { run(which, settings); }};
    return true;
}

void Setups::run(SetupPart part, const Settings& settings)
{
    SocketTalk talk{*this};
    try {
        set_up(talk, part, settings, own_);
    } catch (const Left&) {
        talk.say("nothing was saved");
    } catch (const std::exception& failure) {
        talk.say(failure.what());
    }
    lines_->heard.want(false);
    const std::lock_guard lock{mutex_};
    running_ = waiting_ = false;
}

bool Setups::answer(std::string line)
{
    {
        const std::lock_guard lock{mutex_};
        if (!running_ || !waiting_ || !answers_.empty()) return false;
        answers_.push_back(std::move(line));
    }
    lines_->heard.bell.ring();
    return true;
}

void Setups::stop()
{
    {
        const std::lock_guard lock{mutex_};
        stopping_ = true;
    }
    lines_->heard.bell.ring();
    if (thread_.joinable()) thread_.join();
}

SetupState Setups::state(std::size_t from)
{
    const std::lock_guard lock{mutex_};
    const bool waits = running_ && waiting_ && answers_.empty();
    const auto begin = said_.begin() + static_cast<std::ptrdiff_t>(std::min(from, said_.size()));
    return {running_, waits, heard_, {begin, said_.end()}, said_.size()};
}

} // namespace bowarm
