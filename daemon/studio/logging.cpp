#include "studio/logging.hpp"

#include <spdlog/pattern_formatter.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <cstdlib>
#include <memory>
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
    auto logger = std::make_shared<spdlog::logger>("bowarmd", std::make_shared<spdlog::sinks::stderr_sink_mt>());
    if (writes_to_journal()) {
        auto formatter = std::make_unique<spdlog::pattern_formatter>();
        formatter->add_flag<JournalLevel>('*').set_pattern("%*%v");
        logger->set_formatter(std::move(formatter));
    } else {
        logger->set_pattern("%H:%M:%S %l: %v");
    }
    logger->set_level(spdlog::level::from_str(std::string{level}));
    logger->flush_on(spdlog::level::trace);
    spdlog::set_default_logger(std::move(logger));
}

} // namespace bowarm
