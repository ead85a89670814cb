#include "take/part/zip.hpp"

#include <algorithm>
#include <optional>
#define ZLIB_CONST // its inputs are const
#include <zlib.h>

namespace bowarm::part
{
namespace
{

constexpr std::uint32_t local_signature = 0x04034b50;
constexpr std::uint32_t central_signature = 0x02014b50;
constexpr std::uint32_t end_signature = 0x06054b50;
constexpr std::size_t local_size = 30, central_size = 46, end_size = 22;
constexpr std::size_t comment_at_most = 0xFFFF;
constexpr std::uint16_t stored = 0, deflated = 8;
constexpr std::uint16_t version_needed = 20;
constexpr std::uint16_t first_date = 0x21; // 1980-01-01: the same document gives the same bytes
constexpr std::size_t container_at_most = 65536;
constexpr std::size_t deflate_ratio_at_most = 1032; // of deflate at its best (zlib's technical details, "Maximum Compression Factor")

constexpr std::string_view mimetype = "application/vnd.recordare.musicxml";
constexpr std::string_view container_name = "META-INF/container.xml";
constexpr std::string_view document_name = "part.musicxml";
constexpr std::string_view container = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
                                       "<container>\n <rootfiles>\n"
                                       "  <rootfile full-path=\"part.musicxml\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\n"
                                       " </rootfiles>\n</container>\n";

void put(std::vector<std::uint8_t>& out, std::uint32_t value, int bytes)
{
    for (int i = 0; i < bytes; ++i) out.push_back(static_cast<std::uint8_t>(value >> 8 * i & 0xFF));
}

void put(std::vector<std::uint8_t>& out, std::string_view text) { out.insert(out.end(), text.begin(), text.end()); }

std::uint32_t number_at(std::span<const std::uint8_t> bytes, std::size_t at, int count)
{
    std::uint32_t value = 0;
    for (int i = count; i-- > 0;) value = value << 8 | bytes[at + static_cast<std::size_t>(i)];
    return value;
}

const Bytef* bytes_of(std::string_view text) { return reinterpret_cast<const Bytef*>(text.data()); }

std::vector<std::uint8_t> deflate_raw(std::string_view text)
{
    z_stream stream{};
    deflateInit2(&stream, Z_DEFAULT_COMPRESSION, Z_DEFLATED, -MAX_WBITS, 8, Z_DEFAULT_STRATEGY);
    std::vector<std::uint8_t> out(deflateBound(&stream, text.size()));
    stream.next_in = bytes_of(text);
    stream.avail_in = static_cast<uInt>(text.size());
    stream.next_out = out.data();
    stream.avail_out = static_cast<uInt>(out.size());
    deflate(&stream, Z_FINISH);
    out.resize(stream.total_out);
    deflateEnd(&stream);
    return out;
}

class Archive
{
public:
    void add(std::string_view name, std::string_view text, bool deflates)
    {
        std::vector<std::uint8_t> data = deflates ? deflate_raw(text) : std::vector<std::uint8_t>(text.begin(), text.end());
        const auto checksum = static_cast<std::uint32_t>(crc32(0, bytes_of(text), static_cast<uInt>(text.size())));
        const auto offset = static_cast<std::uint32_t>(out_.size());
        const auto shared = [&](std::vector<std::uint8_t>& to) {
            put(to, version_needed, 2);
            put(to, 0, 2);
            put(to, deflates ? deflated : stored, 2);
            put(to, 0, 2);
            put(to, first_date, 2);
            put(to, checksum, 4);
            put(to, static_cast<std::uint32_t>(data.size()), 4);
            put(to, static_cast<std::uint32_t>(text.size()), 4);
            put(to, static_cast<std::uint32_t>(name.size()), 2);
            put(to, 0, 2);
        };
        put(out_, local_signature, 4);
        shared(out_);
        put(out_, name);
        out_.insert(out_.end(), data.begin(), data.end());
        put(directory_, central_signature, 4);
        put(directory_, version_needed, 2);
        shared(directory_);
        put(directory_, 0, 2); // comment
        put(directory_, 0, 2); // disk
        put(directory_, 0, 2);
        put(directory_, 0, 4);
        put(directory_, offset, 4);
        put(directory_, name);
        ++entries_;
    }

    std::vector<std::uint8_t> take()
    {
        const auto begins = static_cast<std::uint32_t>(out_.size());
        out_.insert(out_.end(), directory_.begin(), directory_.end());
        put(out_, end_signature, 4);
        put(out_, 0, 4); // disks
        put(out_, entries_, 2);
        put(out_, entries_, 2);
        put(out_, static_cast<std::uint32_t>(directory_.size()), 4);
        put(out_, begins, 4);
        put(out_, 0, 2);
        return std::move(out_);
    }

private:
    std::vector<std::uint8_t> out_, directory_;
    std::uint32_t entries_{0};
};

struct Entry {
    std::string name;
    std::uint32_t method{0}, packed{0}, size{0}, checksum{0}, offset{0};
};

// Reads what the archive says of itself, never beyond its end.
class Directory
{
public:
    explicit Directory(std::span<const std::uint8_t> bytes) : bytes_(bytes) {}

    bool read()
    {
        const auto end = end_record();
        if (!end) return false;
        std::size_t at = number_at(bytes_, *end + 16, 4);
        for (std::uint32_t left = number_at(bytes_, *end + 10, 2); left > 0; --left) {
            if (at + central_size > bytes_.size() || number_at(bytes_, at, 4) != central_signature) return false;
            const std::size_t name = number_at(bytes_, at + 28, 2);
            if (at + central_size + name > bytes_.size()) return false;
            Entry entry;
            entry.method = number_at(bytes_, at + 10, 2);
            entry.checksum = number_at(bytes_, at + 16, 4);
            entry.packed = number_at(bytes_, at + 20, 4);
            entry.size = number_at(bytes_, at + 24, 4);
            entry.offset = number_at(bytes_, at + 42, 4);
            entry.name.assign(reinterpret_cast<const char*>(bytes_.data()) + at + central_size, name);
            at += central_size + name + number_at(bytes_, at + 30, 2) + number_at(bytes_, at + 32, 2);
            entries_.push_back(std::move(entry));
        }
        return true;
    }

    const Entry* find(std::string_view name) const
    {
        const auto found = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.name == name; });
        return found == entries_.end() ? nullptr : &*found;
    }

    // Empty: damaged, or packed in another way, or larger than `most`.
    std::optional<std::string> text_of(const Entry& entry, std::size_t most) const
    {
        const std::size_t at = entry.offset;
        if (at + local_size > bytes_.size() || number_at(bytes_, at, 4) != local_signature || entry.size > most) return std::nullopt;
        const std::size_t data = at + local_size + number_at(bytes_, at + 26, 2) + number_at(bytes_, at + 28, 2);
        if (data > bytes_.size() || entry.packed > bytes_.size() - data) return std::nullopt;
        if (entry.size > (std::size_t{entry.packed} + 1) * deflate_ratio_at_most) return std::nullopt;
        const auto packed = bytes_.subspan(data, entry.packed);
        std::string text(entry.size, '\0');
        if (entry.method == stored && entry.packed == entry.size)
            std::copy(packed.begin(), packed.end(), text.begin());
        else if (entry.method != deflated || !inflate_into(text, packed))
            return std::nullopt;
        if (crc32(0, bytes_of_text(text), static_cast<uInt>(text.size())) != entry.checksum) return std::nullopt;
        return text;
    }

private:
    static const Bytef* bytes_of_text(const std::string& text) { return reinterpret_cast<const Bytef*>(text.data()); }

    std::optional<std::size_t> end_record() const
    {
        if (bytes_.size() < end_size) return std::nullopt;
        const std::size_t last = bytes_.size() - end_size;
        const std::size_t least = last > comment_at_most ? last - comment_at_most : 0;
        for (std::size_t at = last + 1; at-- > least;)
            if (number_at(bytes_, at, 4) == end_signature) return at;
        return std::nullopt;
    }

    static bool inflate_into(std::string& text, std::span<const std::uint8_t> packed)
    {
        z_stream stream{};
        if (inflateInit2(&stream, -MAX_WBITS) != Z_OK) return false;
        stream.next_in = packed.data();
        stream.avail_in = static_cast<uInt>(packed.size());
        stream.next_out = reinterpret_cast<Bytef*>(text.data());
        stream.avail_out = static_cast<uInt>(text.size());
        const int result = inflate(&stream, Z_FINISH);
        const bool whole = result == Z_STREAM_END && stream.total_out == text.size();
        inflateEnd(&stream);
        return whole;
    }

    std::span<const std::uint8_t> bytes_;
    std::vector<Entry> entries_;
};

// The first full-path of the container; it is an attribute of a small file, so no reader of XML is needed to find it.
std::string root_file(std::string_view text)
{
    constexpr std::string_view attribute = "full-path=";
    const std::size_t at = text.find(attribute);
    if (at == std::string_view::npos || at + attribute.size() >= text.size()) return {};
    const char quote = text[at + attribute.size()];
    const std::size_t begin = at + attribute.size() + 1;
    const std::size_t end = text.find(quote, begin);
    return end == std::string_view::npos ? std::string{} : std::string{text.substr(begin, end - begin)};
}

constexpr std::string_view export_again = "export the part again, or as uncompressed MusicXML";

} // namespace

bool is_compressed(std::span<const std::uint8_t> bytes) { return bytes.size() >= 4 && number_at(bytes, 0, 4) == local_signature; }

std::vector<std::uint8_t> compressed(std::string_view document)
{
    Archive archive;
    archive.add("mimetype", mimetype, false);
    archive.add(container_name, container, true);
    archive.add(document_name, document, true);
    return archive.take();
}

std::variant<std::string, NotUnpacked> uncompressed(std::span<const std::uint8_t> bytes, std::size_t most)
{
    Directory directory(bytes);
    if (!directory.read()) return NotUnpacked{"the compressed file is damaged or cut short", std::string{export_again}};
    const Entry* const listed = directory.find(container_name);
    const auto list = listed == nullptr ? std::nullopt : directory.text_of(*listed, container_at_most);
    const Entry* const entry = list ? directory.find(root_file(*list)) : nullptr;
    if (entry == nullptr) return NotUnpacked{"the archive names no MusicXML document", std::string{export_again}};
    if (entry->size > most) return NotUnpacked{"the document is too large", "give a single part"};
    auto text = directory.text_of(*entry, most);
    if (!text) return NotUnpacked{"the document in the archive is damaged", std::string{export_again}};
    return std::move(*text);
}

} // namespace bowarm::part
