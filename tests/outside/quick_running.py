"""The service over months: threads sleep while nothing happens, a reload changes all but what it names, and the questions of setup are
answered over the socket.

    quick_running.py BINARY SOURCE_DIR

Threads are counted by voluntary_ctxt_switches of /proc/PID/task/TID/status (proc(5)).
"""
import json
import os
import pathlib
import re
import socket
import sys
import time

from lib_service import Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
COUNTED_S = 6
studio = Studio(source, extra='# mine\n[controls]\nloudness = "cc 11" # the old pedal\n# mine: after\n')
service = Service(program, studio)


def wakes():
    """By thread."""
    counts = {}
    for task in pathlib.Path(f"/proc/{service.process.pid}/task").iterdir():
        status = (task / "status").read_text(encoding="utf-8")
        counts[task.name] = int(re.search(r"^voluntary_ctxt_switches:\s*(\d+)", status, re.M).group(1))
    return counts


def rewrite(old, new):
    text = pathlib.Path(studio.config).read_text(encoding="utf-8")
    check(old in text, f"'{old}' is not in the configuration")
    pathlib.Path(studio.config).write_text(text.replace(old, new), encoding="utf-8")


def ask_whole(method, params=None):
    """With its error."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as s:
        s.settimeout(5)
        s.connect(studio.socket)
        s.sendall((json.dumps({"jsonrpc": "2.0", "id": 7, "method": method, "params": params or {}}) + "\n").encode())
        return json.loads(s.makefile().readline())


def sleeps_while_nothing_happens():
    """No thread wakes more than about once a second while nothing sounds and nobody asks."""
    wait_for(service.answers, "the service")
    time.sleep(1)
    before = wakes()
    time.sleep(COUNTED_S)
    after = wakes()
    check(set(before) == set(after), "threads came or went")
    each = sorted((after[t] - before[t] for t in after), reverse=True)
    check(len(each) >= 5, f"only {len(each)} threads were seen")
    check(each[0] <= 2 * COUNTED_S, f"a thread woke {each[0]} times in {COUNTED_S} s: {each}")


def reload_changes_takes_and_log():
    """A reload moves the takes, stops keeping them, keeps them again, and changes the log's level."""
    other = os.path.join(studio.folder, "other")
    check(service.ask()["take_folder"] == studio.takes, "the first folder")
    rewrite(json.dumps(studio.takes), json.dumps(other))
    rewrite("[status]", '[log]\nlevel = "debug"\n[status]')
    check(service.ask("reload") == {"accepted": True, "reasons": [], "restart": []}, "the reload")
    check(service.ask()["take_folder"] == other, "the takes did not move")
    check(service.ask("take_list") == {"running": None, "takes": []}, "there are no takes yet")
    wait_for(lambda: any(n.startswith("open-") for n in os.listdir(other)), "the journal in the new folder", 5)
    check(not any(n.startswith("open-") for n in os.listdir(studio.takes)), "the old folder still has a journal")
    rewrite("[take]", "[take]\nkeep = false")
    check(service.ask("reload")["accepted"], "the second reload")
    check("takes are not kept" in ask_whole("take_list")["error"]["data"], "takes are still kept")
    check(not any(n.startswith("open-") for n in os.listdir(other)), "a journal is still written")
    rewrite("keep = false\n", "")
    check(service.ask("reload")["accepted"], "the third reload")
    check(service.ask()["take_folder"] == other and service.ask()["take_problem"] == "", "takes are not kept again")


def reload_names_what_it_leaves():
    """What takes effect with a restart alone is named in one line and in the answer, and the rest is taken."""
    rewrite('system = "none"', 'system = "none"\nclient = "elsewhere"')
    rewrite("[status]", "[status]\ntcp_port = 4711")
    names = ["[midi] client", "[status] tcp_port"]
    check(service.ask("reload") == {"accepted": True, "reasons": [], "restart": names}, "the answer")
    check(", ".join(names) in service.log(), "the log")
    check(service.ask("reload")["restart"] == names, "what was left out before is not forgotten")
    rewrite("\ntcp_port = 4711", "")
    rewrite('\nclient = "elsewhere"', "")
    check(service.ask("reload")["restart"] == [], "as it was")


def locked_heap_kb():
    locked, heap = 0, False
    for line in pathlib.Path(f"/proc/{service.process.pid}/smaps").read_text(encoding="utf-8").splitlines():
        if re.match(r"[0-9a-f]+-[0-9a-f]+ ", line):
            heap = line.endswith("[heap]")
        elif heap and line.startswith("Locked:"):
            locked += int(line.split()[1])
    return locked


def players_of_a_reload_are_locked():
    """Where memory may be locked, that of the players that a reload brings is, too."""
    before = locked_heap_kb()
    if before == 0:
        print("left out: no memory may be locked here")
        return
    one = '[player]\ninstrument = "violin"\ntarget = "general-midi"\n'
    rewrite(one, "".join(one.replace("[player]", f'[[player]]\nname = "p{n}"') for n in range(16)))
    check(service.ask("reload")["accepted"], "the reload")
    more = locked_heap_kb() - before
    # 116 kB each: sizeof(Engine).
    check(more > 15 * 100, f"only {more} kB more are locked")
    wait_for(lambda: len(service.ask("players")) == 16, "the sixteen")


def choose_player_is_refused():
    """A player that takes no turns under the hands cannot be chosen, and the answer says why."""
    error = ask_whole("choose_player", {"player": 0})["error"]
    check(error["code"] == -32000 and "under_hands" in error["data"], str(error))


def setup_state():
    return wait_for(lambda: (s := service.ask("setup_state")) and (s["waiting"] or not s["running"]) and s, "setup to wait or to end")


def answer(line, words):
    setup_state()
    check(service.ask("setup_answer", {"answer": line}) == {"accepted": True}, "the answer")
    said = "\n".join(setup_state()["said"])
    check(words in said, f"'{words}' was not said: {said}")


def setup_over_the_socket():
    """Setup's questions are answered over the socket; it writes what it showed, comments stay, and a reload takes it."""
    check(ask_whole("setup_answer", {"answer": ""})["error"]["code"] == -32000, "nothing is asked yet")
    check(service.ask("setup_start", {"part": "controls"}) == {"accepted": True}, "setup_start")
    check("running already" in ask_whole("setup_start", {"part": "controls"})["error"]["data"], "two at once")
    check("LOUDNESS" in "\n".join(setup_state()["said"]), "the first question")
    answer("", "nothing heard yet")
    answer("none", "CONTACT POINT")
    lines = setup_state()["lines"]
    check(service.ask("setup_state", {"from": lines})["said"] == [], "lines that are known already")
    answer("done", 'loudness = "none"')
    answer("", "saved in " + studio.config)
    check(setup_state()["running"] is False, "it goes on")
    text = pathlib.Path(studio.config).read_text(encoding="utf-8")
    check('loudness = "none" # the old pedal' in text and "# mine\n" in text and "# mine: after\n" in text, text)
    check(service.ask("reload")["accepted"], "the reload")


def setup_can_be_left():
    """A setup that is stopped, or left by its own word, saves nothing, and the next one begins anew."""
    before = pathlib.Path(studio.config).read_bytes()
    service.ask("setup_start", {"part": "keyswitches"})
    answer("my-sampler", "KEYSWITCH of detache")
    check(service.ask("setup_stop") == {"accepted": True}, "setup_stop")
    check(setup_state()["said"][-1] == "nothing was saved", "what it said last")
    service.ask("setup_start", {"part": "controls"})
    answer("q", "nothing was saved")
    service.ask("setup_start", {"part": "controls"})
    setup_state()
    check(pathlib.Path(studio.config).read_bytes() == before, "the configuration was touched")


def ends_while_setup_asks():
    """The service ends at once although a question is open."""
    check(service.stop() == 0, "exit code")


try:
    code = run([sleeps_while_nothing_happens, reload_changes_takes_and_log, reload_names_what_it_leaves, choose_player_is_refused, players_of_a_reload_are_locked,
                setup_over_the_socket, setup_can_be_left, ends_while_setup_asks], lambda: [service])
finally:
    service.end()
    studio.remove()
sys.exit(code)
