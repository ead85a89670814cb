#!/usr/bin/env python3
"""Proves: the core gives the same bytes with gcc and clang, unoptimised and optimised, with and without FMA.
The core links with nothing, so that it can be built here by each compiler in turn."""
import glob, os, shutil, subprocess, sys, tempfile

source = sys.argv[2]
rooms = ('midi', 'hear', 'phrase', 'bow', 'stroke', 'target', 'player')
files = [f for room in rooms for f in sorted(glob.glob(f'{source}/daemon/{room}/*.cpp'))]
files += [f'{source}/tests/{f}' for f in ('player/fixture.cpp', 'player/random_playing.cpp', 'outside/helpers/core_hash.cpp')]
has_fma = ' fma ' in open('/proc/cpuinfo').read()
builds = [('g++', '-O0'), ('clang++', '-O2')]
if has_fma:
    builds += [('g++', '-O3 -mfma -mavx2'), ('clang++', '-O3 -mfma -mavx2')]

hashes = {}
with tempfile.TemporaryDirectory() as work:
    for compiler, flags in builds:
        if not shutil.which(compiler):
            sys.exit(f'{compiler} is not installed')
        program = f'{work}/core'
        subprocess.run([compiler, '-std=c++20', '-ffp-contract=off', *flags.split(), f'-I{source}/daemon', f'-I{source}/tests', *files, '-o', program], check=True)
        for tunables in ('', 'glibc.cpu.hwcaps=-FMA_Usable,-AVX2_Usable,-FMA4_Usable'):
            out = subprocess.run([program], check=True, capture_output=True, text=True, env={**os.environ, 'GLIBC_TUNABLES': tunables}).stdout.strip()
            hashes[(compiler, flags, tunables)] = out
            print(f'{out}  {compiler} {flags} {tunables}')
if len(set(hashes.values())) != 1:
    sys.exit('the builds do not agree')
