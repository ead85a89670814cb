#include "studio/build_id.hpp"

#include <cstdint>
#include <cstring>
#include <elf.h>
#include <link.h>

namespace bowarm
{
namespace
{

constexpr std::size_t aligned(std::size_t size) { return (size + 3) / 4 * 4; }

std::string hex(const std::uint8_t* bytes, std::size_t size)
{
    constexpr char digits[] = "0123456789abcdef";
    std::string text;
    for (std::size_t i = 0; i < size; ++i) text.append({digits[bytes[i] >> 4], digits[bytes[i] & 15]});
    return text;
}

// Empty: no such note among these.
std::string id_in(const std::uint8_t* at, std::size_t left)
{
    ElfW(Nhdr) note;
    while (left >= sizeof note) {
        std::memcpy(&note, at, sizeof note);
        const std::size_t whole = sizeof note + aligned(note.n_namesz) + aligned(note.n_descsz);
        if (whole > left) return {};
        const std::uint8_t* name = at + sizeof note;
        if (note.n_type == NT_GNU_BUILD_ID && note.n_namesz == 4 && std::memcmp(name, "GNU", 4) == 0)
            return hex(name + aligned(note.n_namesz), note.n_descsz);
        at += whole;
        left -= whole;
    }
    return {};
}

// The first object is the program itself.
int look(dl_phdr_info* object, std::size_t, void* found)
{
    for (int i = 0; i < object->dlpi_phnum; ++i) {
        const auto& header = object->dlpi_phdr[i];
        if (header.p_type != PT_NOTE) continue;
        auto& id = *static_cast<std::string*>(found);
        id = id_in(reinterpret_cast<const std::uint8_t*>(object->dlpi_addr + header.p_vaddr), header.p_memsz);
        if (!id.empty()) return 1;
    }
    return 1;
}

} // namespace

std::string build_id()
{
    std::string id;
    ::dl_iterate_phdr(look, &id);
    return id.empty() ? "unknown" : id;
}

} // namespace bowarm
