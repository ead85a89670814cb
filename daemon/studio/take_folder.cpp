#include "studio/take_folder.hpp"

#include "player/delays.hpp"
#include "studio/text_array.hpp"
#include "take/second_bowing.hpp"

#include <boost/json/serialize.hpp>
#include <boost/json/string.hpp>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cstdlib>
#include <fstream>
#include <map>
#include <span>
#include <unistd.h>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

constexpr std::string_view played_ending = "-played.mid";
constexpr std::string_view endings[] = {played_ending, ".mid", ".json", ".journal", ".name", ".kept"};
constexpr std::size_t name_bytes_at_most = 80;

bool digits(std::string_view text) { return !text.empty() && text.find_first_not_of("0123456789") == std::string_view::npos; }

// "take-", 8 digits, "-", 6 digits, and perhaps "-n".
bool is_stem(std::string_view text)
{
    if (text.size() < 20 || !text.starts_with("take-") || text[13] != '-' || !digits(text.substr(5, 8)) || !digits(text.substr(14, 6)))
        return false;
    return text.size() == 20 || (text[20] == '-' && text.size() < 28 && digits(text.substr(21)));
}

// Empty: not a take's.
std::string stem_of(const std::string& file)
{
    for (const std::string_view ending : endings) {
        if (!file.ends_with(ending)) continue;
        const std::string stem = file.substr(0, file.size() - ending.size());
        if (is_stem(stem)) return stem;
    }
    return {};
}

// take-...-2 comes before take-...-10.
bool older(const std::string& a, const std::string& b)
{
    const auto second = std::string_view{a}.substr(0, 20) <=> std::string_view{b}.substr(0, 20);
    if (second != 0) return second < 0;
    return a.size() != b.size() ? a.size() < b.size() : a < b;
}

std::string first_line_of(const fs::path& path)
{
    std::ifstream file{path};
    std::string line(name_bytes_at_most, '\0');
    file.read(line.data(), static_cast<std::streamsize>(line.size()));
    line.resize(static_cast<std::size_t>(file.gcount()));
    return line.substr(0, line.find('\n'));
}

void write_text(const fs::path& path, std::string_view text)
{
    write_whole_file(path, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}, owner_only);
}

std::array<fs::path, 6> all_of(const TakeFiles& files)
{
    return {files.sent, files.played, files.report, files.journal, files.name, files.kept};
}

} // namespace

TakeFiles files_named(const fs::path& folder, const std::string& stem)
{
    return {folder / (stem + ".mid"),  folder / (stem + std::string{played_ending}),
            folder / (stem + ".json"), folder / (stem + ".journal"),
            folder / (stem + ".name"), folder / (stem + ".kept")};
}

std::string take_stem(std::time_t wall)
{
    std::tm parts{};
    ::localtime_r(&wall, &parts);
    std::array<char, 48> text{};
    std::strftime(text.data(), text.size(), "take-%Y%m%d-%H%M%S", &parts);
    return text.data();
}

std::string free_stem(const fs::path& folder, const std::string& stem)
{
    // Behind every other of the same second, deleted ones between them included: the order of names is that of the takes.
    int most = 0;
    for (const KeptTake& take : takes_in(folder)) {
        if (!take.stem.starts_with(stem)) continue;
        const std::string number = take.stem.size() == stem.size() ? "1" : take.stem.substr(stem.size() + 1);
        int n = 0; // digits alone, at most seven, as is_stem knows
        std::from_chars(number.data(), number.data() + number.size(), n);
        most = std::max(most, n);
    }
    const auto named = [&](int n) {
        std::string name = stem;
        if (n > 1) name.append("-").append(std::to_string(n));
        return name;
    };
    const auto taken = [&folder](const std::string& name) {
        const auto files = all_of(files_named(folder, name));
        return std::any_of(files.begin(), files.end(), [](const fs::path& path) { return fs::exists(path); });
    };
    int n = most + 1;
    while (taken(named(n))) ++n;
    return named(n);
}

std::vector<KeptTake> takes_in(const fs::path& folder)
{
    std::map<std::string, KeptTake> found;
    std::error_code ignored;
    for (fs::directory_iterator at{folder, ignored}, end; !ignored && at != end; at.increment(ignored)) {
        const std::string stem = stem_of(at->path().filename().string());
        std::error_code odd;
        // A link is not ours: what it points to is neither shown, nor written to, nor counted.
        if (stem.empty() || !fs::is_regular_file(at->symlink_status(odd))) continue;
        KeptTake& take = found[stem];
        take.stem = stem;
        if (const auto size = at->file_size(odd); !odd) take.bytes += size;
        const auto ending = at->path().extension();
        if (ending == ".kept") take.kept = true;
        if (ending == ".journal") take.has_journal = true;
        if (ending == ".name") take.name = first_line_of(at->path());
    }
    std::vector<KeptTake> takes;
    for (auto& [stem, take] : found) takes.push_back(std::move(take));
    std::sort(takes.begin(), takes.end(), [](const KeptTake& a, const KeptTake& b) { return older(a.stem, b.stem); });
    return takes;
}

std::optional<KeptTake> take_called(const fs::path& folder, std::string_view word)
{
    const std::vector<KeptTake> takes = takes_in(folder);
    if (word == "last" && !takes.empty()) return takes.back();
    for (const KeptTake& take : takes)
        if (take.stem == word) return take;
    // Of several takes of one name, the newest.
    for (auto take = takes.rbegin(); take != takes.rend(); ++take)
        if (!word.empty() && take->name == word) return *take;
    std::size_t number = 0;
    const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), number);
    if (error != std::errc{} || end != word.data() + word.size() || number < 1 || number > takes.size()) return std::nullopt;
    return takes[number - 1];
}

void delete_take(const fs::path& folder, const std::string& stem)
{
    for (const fs::path& path : all_of(files_named(folder, stem))) {
        std::error_code trouble;
        if (fs::remove(path, trouble); trouble) throw std::system_error(trouble, path.string());
    }
}

void name_take(const fs::path& folder, const std::string& stem, std::string_view name)
{
    const fs::path path = files_named(folder, stem).name;
    std::error_code ignored;
    if (name.empty()) {
        fs::remove(path, ignored);
        return;
    }
    write_text(path, std::string{name.substr(0, std::min(name.find('\n'), name_bytes_at_most))} + "\n");
}

void keep_take(const fs::path& folder, const std::string& stem) { write_text(files_named(folder, stem).kept, ""); }

std::vector<std::string> prune_takes(const fs::path& folder, const Quota& quota, std::span<const std::string> made)
{
    if (quota.takes_at_most == 0 && quota.megabytes_at_most == 0) return {};
    std::vector<KeptTake> takes = takes_in(folder);
    const auto age = [&](const KeptTake& take) { return std::find(made.begin(), made.end(), take.stem) - made.begin(); };
    const auto older =
        std::stable_partition(takes.begin(), takes.end(), [&](const KeptTake& take) { return age(take) == std::ssize(made); });
    std::sort(older, takes.end(), [&](const KeptTake& a, const KeptTake& b) { return age(a) < age(b); });
    std::uint64_t count = takes.size(), bytes = 0;
    for (const KeptTake& take : takes) bytes += take.bytes;
    const auto too_many = [&] {
        return (quota.takes_at_most != 0 && count > quota.takes_at_most) ||
               (quota.megabytes_at_most != 0 && bytes > quota.megabytes_at_most * 1'000'000);
    };
    std::vector<std::string> gone;
    for (const KeptTake& take : takes) {
        if (!too_many() || &take == &takes.back()) break;
        if (take.kept) continue;
        delete_take(folder, take.stem);
        --count;
        bytes -= take.bytes;
        gone.push_back(take.stem);
    }
    return gone;
}

std::string report_of_take(const Recorder& take, const PlayerConfig& player)
{
    const auto& strings = player.instrument.strings;
    const Hindsight hindsight = bow_desks_again(player, take);
    return report_json(take, {text_of(player.instrument.name),
                              text_of(player.target.name),
                              "live",
                              {strings.data(), strings.size()},
                              Regret{hindsight.regret(), hindsight.differing},
                              std::nullopt,
                              delays_of(player).hold});
}

std::string report_of_takes(std::span<const PlayersTake> takes)
{
    if (takes.size() == 1) return report_of_take(takes.front().take, takes.front().player);
    // Each report is a JSON text already; its line end goes.
    std::string all = R"({"format":"bowarm-reports","version":1,"players":[)";
    for (const PlayersTake& one : takes) {
        std::string report = report_of_take(one.take, one.player);
        while (report.ends_with('\n')) report.pop_back();
        if (&one != &takes.front()) all += ',';
        all.append(R"({"name":)").append(boost::json::serialize(boost::json::string{text_of(one.player.name)}));
        all.append(R"(,"report":)").append(report).append("}");
    }
    return all + "]}\n";
}

std::vector<NamedTake> named(std::span<const PlayersTake> takes)
{
    std::vector<NamedTake> all;
    for (const PlayersTake& one : takes)
        all.push_back({takes.size() == 1 ? std::string{} : std::string{text_of(one.player.name)}, one.take});
    return all;
}

void write_take_files(const fs::path& folder, const std::string& stem, std::span<const PlayersTake> takes)
{
    const TakeFiles files = files_named(folder, stem);
    try {
        write_whole_file(files.sent, sent_as_midi_file(named(takes)), owner_only);
        write_whole_file(files.played, played_as_midi_file(named(takes)), owner_only);
        write_text(files.report, report_of_takes(takes));
    } catch (...) {
        // The names were free before, so whatever has them now is a part of a take that could not be kept whole.
        std::error_code ignored;
        for (const fs::path* path : {&files.sent, &files.played, &files.report}) fs::remove(*path, ignored);
        throw;
    }
}

void prepare_take_folder(const fs::path& folder)
{
    std::error_code trouble;
    const auto fail = [&folder](std::error_code reason) { throw std::system_error(reason, folder.string()); };
    if (!fs::exists(folder, trouble)) {
        if (fs::create_directories(folder, trouble); trouble) fail(trouble);
        if (fs::permissions(folder, fs::perms::owner_all, trouble); trouble) fail(trouble);
    }
    if (!fs::is_directory(folder, trouble)) fail(std::make_error_code(std::errc::not_a_directory));
    if (::access(folder.c_str(), W_OK | X_OK) != 0) fail({errno, std::generic_category()});
}

std::string cannot_be_kept(const std::string& path, const std::error_code& reason)
{
    const bool full = reason == std::errc::no_space_on_device || reason == std::error_code{EDQUOT, std::generic_category()};
    return "the take cannot be kept: " + path + ": " + reason.message() +
           (full ? "; make room there, or name another folder with --takes" : "; name another folder with --takes");
}

} // namespace bowarm
