#include "take/wishes.hpp"

#include "take/decimal.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <charconv>

namespace bowarm
{
namespace
{

constexpr std::int32_t bars_at_most = 1'000'000;
constexpr double beats_at_most = 255; // MIDI's time signature has one byte for them
constexpr std::uint32_t notes_at_most = 100'000'000;
constexpr std::size_t shown_at_most = 24; // of a word that is not understood
constexpr int decimals_of_a_beat = 4;

constexpr std::string_view wish_words = "up, down, retake or same-bow";

bool is_space(char c) { return c == ' ' || c == '\t' || c == '\r'; }

// What cannot be printed is shown as '?'.
std::string shown_word(std::string_view word)
{
    std::string out{word.substr(0, shown_at_most)};
    std::replace_if(
        out.begin(), out.end(), [](char c) { return c < ' ' || c > '~'; }, '?');
    return "'" + out + (word.size() > shown_at_most ? "...'" : "'");
}

struct Word {
    std::string_view text;
    std::size_t column{0};
};

std::vector<Word> words_of(std::string_view line)
{
    std::vector<Word> words;
    line = line.substr(0, line.find('#'));
    for (std::size_t i = 0; i < line.size();) {
        const std::size_t begin = i;
        while (i < line.size() && !is_space(line[i])) ++i;
        if (i > begin) words.push_back({line.substr(begin, i - begin), begin + 1});
        while (i < line.size() && is_space(line[i])) ++i;
    }
    return words;
}

// The whole word is the number, without sign or exponent.
template <class Number> std::optional<Number> number_of(std::string_view word, Number least, Number most)
{
    const bool plain = !word.empty() && word.find_first_not_of("0123456789.") == std::string_view::npos;
    if (!plain) return std::nullopt;
    Number value{};
    const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
    if (error != std::errc{} || end != word.data() + word.size() || value < least || value > most) return std::nullopt;
    return value;
}

class LineReader
{
public:
    LineReader(std::vector<Word> words, std::size_t line)
        : words_(std::move(words)), end_column_(words_.back().column + words_.back().text.size())
    {
        wish_.line = line;
    }

    std::variant<Wish, WishProblem> read()
    {
        if (!read_place()) return *problem_;
        if (next_ == words_.size()) return fail(end_column_, "no wish", "write " + std::string{wish_words} + " after the place");
        while (next_ < words_.size())
            if (!read_wish(words_[next_++])) return *problem_;
        return wish_;
    }

private:
    WishProblem fail(std::size_t column, std::string what, std::string remedy) const
    {
        return {wish_.line, column, std::move(what), std::move(remedy)};
    }

    bool refuse(const Word& word, std::string what, std::string remedy)
    {
        problem_ = fail(word.column, std::move(what), std::move(remedy));
        return false;
    }

    bool read_place()
    {
        const Word& word = words_[next_++];
        if (word.text == "note") return read_note();
        const std::size_t colon = word.text.find(':');
        if (colon == std::string_view::npos)
            return refuse(word, shown_word(word.text) + " is no place", "begin with bar:beat, such as 12:3, or with note and its number");
        const auto bar = number_of<std::int32_t>(word.text.substr(0, colon), 1, bars_at_most);
        if (!bar) return refuse(word, "no such bar", "bars are whole numbers from 1 to " + std::to_string(bars_at_most));
        const auto beat = number_of<double>(word.text.substr(colon + 1), 1, beats_at_most);
        if (!beat)
            return refuse({word.text, word.column + colon + 1}, "no such beat",
                          "beats are counted from 1; parts of a beat are decimals, such as 2.5");
        wish_.bar = *bar;
        wish_.beat = *beat;
        return true;
    }

    bool read_note()
    {
        constexpr std::string_view remedy = "write the note's index in the report, from 0, such as note 57";
        if (next_ == words_.size()) {
            problem_ = fail(end_column_, "no number after note", std::string{remedy});
            return false;
        }
        const Word& word = words_[next_++];
        wish_.note = number_of<std::uint32_t>(word.text, 0, notes_at_most);
        return wish_.note || refuse(word, shown_word(word.text) + " is no number of a note", std::string{remedy});
    }

    bool read_wish(const Word& word)
    {
        const bool again = (word.text == "retake" && wish_.retake) || (word.text == "same-bow" && wish_.same_bow);
        if (again) return refuse(word, shown_word(word.text) + " is there twice", "once is enough");
        if (word.text == "up" || word.text == "down") {
            if (wish_.direction) return refuse(word, "two directions for one stroke", "keep one of them");
            wish_.direction = word.text == "up" ? Direction::up : Direction::down;
        } else if (word.text == "retake") {
            wish_.retake = true;
        } else if (word.text == "same-bow") {
            wish_.same_bow = true;
        } else {
            return refuse(word, shown_word(word.text) + " is no wish", "write " + std::string{wish_words});
        }
        if (wish_.same_bow && (wish_.retake || wish_.direction))
            return refuse(word, "same-bow goes on as the stroke before does, without a retake", "write same-bow alone, or leave it out");
        return true;
    }

    std::vector<Word> words_;
    std::size_t end_column_;
    std::size_t next_{0};
    Wish wish_;
    std::optional<WishProblem> problem_;
};

} // namespace

std::variant<std::vector<Wish>, WishProblem> read_wishes(std::string_view text)
{
    constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
    if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
    std::vector<Wish> wishes;
    for (std::size_t line = 1; !text.empty(); ++line) {
        const std::size_t length = std::min(text.find('\n'), text.size());
        std::vector<Word> words = words_of(text.substr(0, length));
        text.remove_prefix(std::min(length + 1, text.size()));
        if (words.empty()) continue;
        auto read = LineReader(std::move(words), line).read();
        if (auto* problem = std::get_if<WishProblem>(&read)) return std::move(*problem);
        wishes.push_back(std::get<Wish>(read));
    }
    return wishes;
}

std::string wish_text(const Wish& wish)
{
    std::string text = wish.bar > 0 ? std::to_string(wish.bar) + ":" + decimal_text(wish.beat, decimals_of_a_beat)
                                    : "note " + std::to_string(wish.note.value_or(0));
    if (wish.retake) text += " retake";
    if (wish.direction) text.append(" ").append(direction_word(*wish.direction));
    if (wish.same_bow) text += " same-bow";
    return text;
}

} // namespace bowarm
