#include "status/token_file.hpp"

#include "status/status.hpp"

#include <array>
#include <cerrno>
#include <fcntl.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

namespace bowarm
{

namespace
{

[[noreturn]] void fail(int error, const std::filesystem::path& file, const std::string& reason = {})
{
    throw SocketProblem{error, file.string() + ": " + (reason.empty() ? std::generic_category().message(error) : reason) +
                                   "; name another file in the configuration, [status] token_file"};
}

class Descriptor
{
public:
    explicit Descriptor(int number) : number_(number) {}
    ~Descriptor()
    {
        if (number_ >= 0) ::close(number_);
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    int get() const { return number_; }

private:
    int number_;
};

std::string new_token()
{
    std::array<unsigned char, 32> bytes{};
    if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size()))
        throw SocketProblem{errno, "no random numbers for a token: " + std::generic_category().message(errno)};
    constexpr std::string_view digits = "0123456789abcdef";
    std::string token;
    for (const unsigned char byte : bytes) (token += digits[byte >> 4]) += digits[byte & 15];
    return token;
}

void make(const std::filesystem::path& file)
{
    const Descriptor made{::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600)};
    if (made.get() < 0) {
        if (errno == EEXIST) return;
        fail(errno, file);
    }
    const std::string line = new_token() + "\n";
    if (::write(made.get(), line.data(), line.size()) != static_cast<ssize_t>(line.size())) fail(errno, file);
}

} // namespace

std::string token_of(const std::filesystem::path& file)
{
    make(file);
    // O_NONBLOCK: a pipe in the place of the file must not hold the service.
    const Descriptor opened{::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};
    struct stat info {
    };
    if (opened.get() < 0 || ::fstat(opened.get(), &info) != 0) fail(errno, file);
    if (!S_ISREG(info.st_mode)) fail(EINVAL, file, "the token's file is no ordinary file");
    if (info.st_uid != ::geteuid()) fail(EACCES, file, "the token's file belongs to somebody else, who knows it");
    if ((info.st_mode & (S_IRWXG | S_IRWXO)) != 0) fail(EACCES, file, "others may read the token; chmod 600 it");
    std::array<char, 1024> text{};
    const ssize_t size = ::read(opened.get(), text.data(), text.size());
    if (size < 0) fail(errno, file);
    const std::string_view all{text.data(), static_cast<std::size_t>(size)};
    std::string token{all.substr(0, all.find_first_of("\r\n"))};
    if (token.size() < token_least) fail(EINVAL, file, "a token has at least 16 bytes; remove the file and a new one is made");
    return token;
}

bool same_token(std::string_view said, std::string_view token) noexcept
{
    unsigned char difference = said.size() == token.size() ? 0 : 1;
    for (std::size_t i = 0; i < said.size(); ++i) difference = static_cast<unsigned char>(difference | (said[i] ^ token[i % token.size()]));
    return difference == 0;
}

} // namespace bowarm
