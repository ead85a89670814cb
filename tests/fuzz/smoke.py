#!/usr/bin/env python3
"""Proves: no harness finds a fault in its corpus, nor in a fixed number of fresh inputs made from it.

    smoke.py SOURCE BUILD [NAME...]      builds what is needed in BUILD; NAME: these harnesses alone
Runs are counted, not timed, and seeded, so that a busy machine tries the same.  About three minutes of two cores, nearly all of it building; the
long run is tests/long.sh fuzz.  Exit codes: 0 nothing found, 1 a fault or no build, 77 skipped, with the reason."""
import os, re, shutil, subprocess, sys, tempfile
from concurrent.futures import ThreadPoolExecutor

# Fresh inputs, so chosen that each takes some seconds.
RUNS = {'midi_stream': 2000, 'midi_file': 1000, 'playing': 300, 'journal': 1000, 'wishes': 700, 'rpc_lines': 1500, 'toml_text': 60, 'configuration': 500}


def skip(reason):
    print(f'skipped: {reason}')
    sys.exit(77)


def look_for_clang():
    if not shutil.which('clang++'):
        skip('clang++ is not installed; sh tests/install.sh tests installs it')
    with tempfile.TemporaryDirectory() as folder:
        probe = os.path.join(folder, 'probe.cpp')
        with open(probe, 'w', encoding='ascii') as file:
            file.write('extern "C" int LLVMFuzzerTestOneInput(const unsigned char*, unsigned long) { return 0; }\n')
        built = subprocess.run(['clang++', '-fsanitize=fuzzer,address,undefined', probe, '-o', probe + '.out'], capture_output=True, text=True)
        if built.returncode != 0:
            skip('clang++ has no libFuzzer here; install libclang-rt-14-dev, or the one of its version')


def build(source, folder, names):
    configure = ['cmake', '-S', source, '-B', folder, '-G', 'Ninja', '-DCMAKE_BUILD_TYPE=RelWithDebInfo', '-DBOWARM_FUZZ=ON',
                 '-DCMAKE_CXX_COMPILER=clang++', '-DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -gline-tables-only']
    for command in (configure, ['cmake', '--build', folder, '--parallel', '2', '--target', *(f'fuzz_{name}' for name in names)]):
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode != 0:
            print(done.stdout[-4000:], done.stderr[-4000:], sep='\n')
            print('the harnesses did not build')
            sys.exit(1)


def tried(source, folder, name):
    """The line for a harness, and whether nothing was found."""
    corpus, words = os.path.join(source, 'tests/fuzz/corpus', name), os.path.join(source, 'tests/fuzz', name + '.dict')
    inputs = len(os.listdir(corpus))
    with tempfile.TemporaryDirectory(prefix='bowarm-fuzz-') as fresh:  # what is new is not kept
        done = subprocess.run([os.path.join(folder, 'tests/fuzz', 'fuzz_' + name), f'-runs={inputs + RUNS[name]}', '-seed=1', '-rss_limit_mb=1024', '-timeout=60',
                               f'-artifact_prefix={folder}/found-{name}-', *([f'-dict={words}'] if os.path.exists(words) else []), fresh, corpus],
                              capture_output=True, text=True, env=dict(os.environ, UBSAN_OPTIONS='print_stacktrace=1'))
    if done.returncode != 0:
        return f'{name}: {done.stderr[-6000:]}\nfound with {name}; the input is in {folder}/found-{name}-*', False
    last = re.findall(r'cov: (\d+) ft: (\d+)', done.stderr)[-1]
    return f'kept: {name}: {inputs} inputs and {RUNS[name]} fresh ones, {last[0]} edges, {last[1]} features', True


def main():
    source, folder, names = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2]), sys.argv[3:] or list(RUNS)
    look_for_clang()
    build(source, folder, names)
    with ThreadPoolExecutor(2) as two:
        results = list(two.map(lambda name: tried(source, folder, name), names))
    for line, _ in results:
        print(line)
    return 0 if all(kept for _, kept in results) else 1


sys.exit(main())
