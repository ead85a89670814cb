#!/usr/bin/env python3
"""Proves: mixing units does not compile.  Each line is compiled alone, beside one that must compile."""
import subprocess, sys, tempfile

source = sys.argv[2]
good = ['Metres m = MetresPerSecond{0.2} * Seconds{2}; (void)m;', 'Newtons f = Newtons{1} + Newtons{2}; (void)f;',
        'bool b = Beta{0.1} < Beta{0.2}; (void)b;', 'Time t = Time{} + Duration{5}; (void)t;']
bad = ['Newtons f = Newtons{1} + Metres{2}; (void)f;', 'Metres m = 0.5; (void)m;', 'MetresPerSecond v = Metres{1}; (void)v;',
       'bool b = Beta{0.1} < HairFraction{0.2}; (void)b;', 'Metres m = MetresPerSecond{0.2} * MetresPerSecond{2}; (void)m;',
       'Time t = Time{} + Time{}; (void)t;', 'Duration d = Seconds{1}; (void)d;', 'playable_force(Newtons{1}, Beta{0.1}, {});',
       'Midi7 k = 60; (void)k;']


def compiles(line):
    with tempfile.NamedTemporaryFile('w', suffix='.cpp') as f:
        f.write('#include "base/time.hpp"\n#include "bow/force_limits.hpp"\n#include "midi/message.hpp"\nusing namespace bowarm;\nvoid f() { ' + line + ' }\n')
        f.flush()
        return subprocess.run(['g++', '-std=c++20', '-fsyntax-only', f'-I{source}/daemon', f.name], capture_output=True).returncode == 0


wrong = [line for line in good if not compiles(line)] + [line for line in bad if compiles(line)]
for line in wrong:
    print('wrong way:', line)
sys.exit(1 if wrong else 0)
