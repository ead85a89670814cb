// What a reload leaves for the next start, key by key.
#include "studio/files.hpp"
#include "studio/reloading.hpp"

using namespace bowarm;
using namespace studio_test;

namespace
{

Settings read(const std::string& text)
{
    const Loaded loaded = load_configuration_text(shipped / "bowarm.toml", "version = 1\n" + text, {});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded);
}

} // namespace

TEST_CASE("the keys that need a restart are named, those that do not are not")
{
    const Settings now = read("");
    CHECK(keys_for_restart(now, now).empty());
    CHECK(keys_for_restart(
              now, read("[log]\nlevel = \"debug\"\n[take]\nkeep = false\nfolder = \"/elsewhere\"\n[player]\ninstrument = \"cello\"\n"))
              .empty());
    using Keys = std::vector<std::string>;
    CHECK(keys_for_restart(now, read("[midi]\nclient = \"other\"\n")) == Keys{"[midi] client"});
    CHECK(keys_for_restart(now, read("[midi]\nsystem = \"none\"\n[status]\nsocket = \"/x\"\ntoken_file = \"/y\"\ntcp_port = 4000\n")) ==
          Keys{"[midi] system", "[status] socket", "[status] token_file", "[status] tcp_port"});
}

TEST_CASE("what needs a restart stays as it is, the rest is the new one")
{
    const Settings now = read(""), next = read("[midi]\nclient = \"other\"\n[status]\ntcp_port = 4000\n[player]\ninstrument = \"cello\"\n");
    const Settings held = without_restart(next, now);
    CHECK(held.midi.client == now.midi.client);
    CHECK(held.tcp_port == 0);
    CHECK(held.player.instrument.highest_key == next.player.instrument.highest_key);
    CHECK(held.player.instrument.highest_key != now.player.instrument.highest_key);
    CHECK(keys_for_restart(now, held).empty());
}
