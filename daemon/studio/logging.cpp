#include "studio/logging.hpp"

#include <spdlog/pattern_formatter.h>
#include <spdlog/sinks/base_sink.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <chrono>
#include <cstdlib>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <sys/stat.h>
#include <unistd.h>

namespace bowarm
{
namespace
{

// syslog's levels, as the journal reads them.
class JournalLevel final : public spdlog::custom_flag_formatter
{
public:
    void format(const spdlog::details::log_msg& message, const std::tm&, spdlog::memory_buf_t& out) override
    {
        const std::string_view prefix = prefix_of(message.level);
        out.append(prefix.data(), prefix.data() + prefix.size());
    }
    std::unique_ptr<custom_flag_formatter> clone() const override { return spdlog::details::make_unique<JournalLevel>(); }

private:
    static std::string_view prefix_of(spdlog::level::level_enum level)
    {
        switch (level) {
        case spdlog::level::critical:
            return "<2>";
        case spdlog::level::err:
            return "<3>";
        case spdlog::level::warn:
            return "<4>";
        case spdlog::level::info:
            return "<6>";
        default:
            return "<7>";
        }
    }
};

// The same words with other numbers are the same fault.
std::string without_digits(std::string_view text)
{
    std::string out;
    for (const char letter : text)
        if (letter < '0' || letter > '9') out += letter;
    return out;
}

// Names of ports come from other programs: none may begin a line of its own in the log, or steer a terminal.
std::string without_controls(std::string_view text)
{
    std::string out{text};
    std::replace_if(
        out.begin(), out.end(), [](char c) { return static_cast<unsigned char>(c) < ' ' || c == '\x7F'; }, '?');
    return out;
}

class PatientSink final : public spdlog::sinks::base_sink<std::mutex>
{
public:
    explicit PatientSink(spdlog::sink_ptr out) : out_(std::move(out)) {}

protected:
    void sink_it_(const spdlog::details::log_msg& given) override
    {
        const std::string text = without_controls({given.payload.data(), given.payload.size()});
        const spdlog::details::log_msg message{given.time, {}, given.logger_name, given.level, text};
        if (message.level < spdlog::level::warn) return out_->log(message);
        const std::string key = without_digits(text);
        if (said_.size() > faults_known_at_most && said_.find(key) == said_.end()) said_.clear();
        Said& said = said_[key];
        if (message.time - said.since > minute) {
            const int left_out = said.times - times_a_minute;
            said = {message.time, 0};
            if (left_out > 0) say(message, std::to_string(left_out) + " more like the next line were left out");
        }
        if (++said.times <= times_a_minute) out_->log(message);
    }
    void flush_() override { out_->flush(); }
    void set_pattern_(const std::string& pattern) override { out_->set_pattern(pattern); }
    void set_formatter_(std::unique_ptr<spdlog::formatter> formatter) override { out_->set_formatter(std::move(formatter)); }

private:
    static constexpr int times_a_minute = 5;
    static constexpr std::chrono::minutes minute{1};
    static constexpr std::size_t faults_known_at_most = 256;
    struct Said {
        spdlog::log_clock::time_point since;
        int times{0};
    };

    void say(const spdlog::details::log_msg& like, const std::string& text)
    {
        out_->log(spdlog::details::log_msg{like.time, {}, like.logger_name, like.level, text});
    }

    spdlog::sink_ptr out_;
    std::map<std::string, Said> said_;
};

} // namespace

bool writes_to_journal()
{
    const char* stream = std::getenv("JOURNAL_STREAM");
    struct stat ours {
    };
    if (stream == nullptr || ::fstat(STDERR_FILENO, &ours) != 0) return false;
    return std::to_string(ours.st_dev) + ":" + std::to_string(ours.st_ino) == stream;
}

void set_up_logging(std::string_view level)
{
    auto logger =
        std::make_shared<spdlog::logger>("bowarmd", std::make_shared<PatientSink>(std::make_shared<spdlog::sinks::stderr_sink_st>()));
    if (writes_to_journal()) {
        auto formatter = std::make_unique<spdlog::pattern_formatter>();
        formatter->add_flag<JournalLevel>('*').set_pattern("%*%v");
        logger->set_formatter(std::move(formatter));
    } else {
        logger->set_pattern("%H:%M:%S %l: %v");
    }
    logger->flush_on(spdlog::level::trace);
    spdlog::set_default_logger(std::move(logger));
    set_log_level(level);
}

void set_log_level(std::string_view level) { spdlog::default_logger()->set_level(spdlog::level::from_str(std::string{level})); }

} // namespace bowarm
