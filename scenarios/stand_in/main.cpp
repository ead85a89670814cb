// bowarm-stand-in: a sampler of our own for a first hearing and for tests, live over JACK or from a file into a file.
#include "instruments.hpp"
#include "live.hpp"
#include "offline.hpp"
#include "sound/wave_file.hpp"
#include "sounds.hpp"
#include "take/take.hpp"

#include <charconv>
#include <fstream>
#include <iostream>
#include <iterator>
#include <optional>
#include <stdexcept>
#include <string>
#include <system_error>
#include <vector>

namespace bowarm::stand_in
{
namespace
{

constexpr const char* help = R"(usage: bowarm-stand-in [--instrument NAME] [--client NAME] [--alone] [--reorder SEED]
       bowarm-stand-in IN.mid --out OUT.wav [--instrument NAME] [--reorder SEED]

A small sampler of bowed and plucked strings, for a first hearing and for tests; config/targets/stand-in.toml speaks to it.
Without a file it plays what comes to its JACK port "in", softly at first.  Its sounds are rendered when it starts.

  --instrument NAME   violin, viola, cello or double-bass; violin when absent
  --out OUT.wav       the sound file to write
  --client NAME       its name in JACK; stand-in when absent
  --alone             do not connect to the speakers
  --reorder SEED      take what comes in one instant in another order, as samplers may
  --help              this text

Keys 0 to 6 choose detache, legato, staccato, spiccato, marcato, tremolo, pizzicato; controller 11 is the loudness.

exit codes: 0 fine, 64 usage, 65 bad data, 66 no such file, 69 no JACK server, 73 cannot create
)";

struct Trouble : std::runtime_error {
    Trouble(int c, const std::string& line) : std::runtime_error(line), code(c) {}
    int code;
};
constexpr int usage = 64, bad_data = 65, no_input = 66, cannot_create = 73;

struct Asked {
    std::string in, out;
    std::string instrument{"violin"};
    LiveWish live{"stand-in", true, {}};
};

std::uint64_t seed_of(const std::string& text)
{
    std::uint64_t seed = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), seed);
    if (error != std::errc{} || end != text.data() + text.size()) throw Trouble(usage, "--reorder takes a whole number");
    return seed;
}

Asked asked_by(const std::vector<std::string>& words)
{
    Asked asked;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const std::string& word = words[i];
        const auto value = [&] {
            if (++i == words.size()) throw Trouble(usage, word + " takes a value; see bowarm-stand-in --help");
            return words[i];
        };
        if (word == "--instrument")
            asked.instrument = value();
        else if (word == "--out")
            asked.out = value();
        else if (word == "--client")
            asked.live.client = value();
        else if (word == "--alone")
            asked.live.to_speakers = false;
        else if (word == "--reorder")
            asked.live.reorder = seed_of(value());
        else if (word.starts_with("-") || !asked.in.empty())
            throw Trouble(usage, "'" + word + "' is not understood; see bowarm-stand-in --help");
        else
            asked.in = word;
    }
    if (asked.in.empty() != asked.out.empty()) throw Trouble(usage, "a file to play and --out go together; see bowarm-stand-in --help");
    return asked;
}

StandardFile file_from(const std::string& path)
{
    std::ifstream file{path, std::ios::binary};
    const std::vector<char> bytes{std::istreambuf_iterator<char>{file}, {}};
    if (!file) throw Trouble(no_input, path + ": cannot be read; give the path of a .mid file");
    FileRead read = read_standard_file({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
    if (const auto* problem = std::get_if<FileProblem>(&read))
        throw Trouble(bad_data, path + ": byte " + std::to_string(problem->offset) + ": " + problem->what + "; " + problem->remedy);
    StandardFile song = std::get<StandardFile>(std::move(read));
    if (song.end.ns > milliseconds(3'600'000).ns) throw Trouble(bad_data, path + ": lasts longer than an hour; divide the piece");
    return song;
}

int play_file(const Asked& asked, const Instrument& instrument)
{
    const StandardFile song = file_from(asked.in);
    const std::vector<float> sound = played(song, Sounds{instrument}, asked.live.reorder);
    try {
        write_whole_file(asked.out, wave_file(sound, file_rate));
    } catch (const std::system_error& error) {
        throw Trouble(cannot_create,
                      asked.out + ": cannot be written: " + error.code().message() + "; choose a folder that may be written");
    }
    return 0;
}

int run(const std::vector<std::string>& words)
{
    for (const std::string& word : words) {
        if (word != "--help" && word != "-h") continue;
        std::cout << help;
        return 0;
    }
    const Asked asked = asked_by(words);
    const Instrument* instrument = instrument_of(asked.instrument);
    if (instrument == nullptr) throw Trouble(usage, "no instrument '" + asked.instrument + "'; known: violin, viola, cello, double-bass");
    if (!asked.in.empty()) return play_file(asked, *instrument);
    std::cout << "Mind your ears: turn your headphones down before the first note, then up until it is comfortable." << std::endl;
    return play_live(*instrument, asked.live);
}

} // namespace

int run_program(const std::vector<std::string>& words)
{
    try {
        return run(words);
    } catch (const Trouble& trouble) {
        std::cerr << "bowarm-stand-in: " << trouble.what() << "\n";
        return trouble.code;
    }
}

} // namespace bowarm::stand_in

int main(int count, char** words) { return bowarm::stand_in::run_program({words + 1, words + count}); }
