// Writes the journal that the service would have written had somebody played a file to it, without waiting for the playing.
//   usage: journal_of_file IN.mid CONFIG OUT.journal BUILD [whole]     whole: with the end of the take
#include "studio/configuration.hpp"
#include "studio/journal_writer.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/version.hpp"
#include "take/journal.hpp"
#include "take/performance.hpp"

#include <cstdio>
#include <string>

using namespace bowarm;

namespace
{

struct Hashing final : Sink {
    void bundle(Time at, std::span<const Message> messages) noexcept override { hash.bundle(at, messages); }
    void curve(Time at, Controller controller, int value) noexcept override { hash.curve(at, controller, value); }
    void fact(const Fact&) noexcept override {}
    OutputHash hash;
};

} // namespace

int main(int count, char** words)
{
    if (count < 5) return 64;
    const FileRead read = read_standard_file(bytes_of_file(words[1]));
    const Loaded loaded = load_configuration(words[2], {});
    if (!std::holds_alternative<StandardFile>(read) || !std::holds_alternative<Settings>(loaded)) return 65;
    const auto& settings = std::get<Settings>(loaded);
    const std::vector<Input> inputs = inputs_of(std::get<StandardFile>(read), Source{0});

    JournalBytes bytes = journal_beginning();
    append_record(bytes, JournalHead{1'700'000'000, Time{-1}, words[4], std::string{version}, texts_of(settings)});
    Player player{settings.player};
    Hashing sink;
    Time told{};
    for (const Input& input : inputs) {
        advance(player, input.at, sink);
        append_record(bytes, input);
        player.on(input, sink);
        if (input.at - told < milliseconds(200)) continue;
        told = input.at;
        append_record(bytes, sink.hash.now());
    }
    if (count > 5) append_record(bytes, TakeSpan{inputs.front().at, inputs.back().at});
    write_whole_file(words[3], bytes);
    return 0;
}
