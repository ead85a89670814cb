#!/usr/bin/env python3
"""Proves: the programs are built so that a fault is hard to use: position-independent, guarded, checked, read-only where they can be.

    quick_hardening.py BOWARMD SOURCE
Read with readelf (binutils); what each entry means: ld(1) for -z relro, -z now and -z noexecstack, elf(5) for the types and flags; the names
with _chk and __stack_chk_fail are glibc's and GCC's (GCC manual, Instrumentation Options)."""
import os, re, subprocess, sys

program = sys.argv[1]
companion = os.path.join(os.path.dirname(program), 'bowarm-stand-in')


def readelf(path, *options):
    return subprocess.run(['readelf', '--wide', *options, path], capture_output=True, text=True, check=True).stdout


def faults(path):
    header, segments, dynamic = readelf(path, '-h'), readelf(path, '-l'), readelf(path, '-d')
    symbols = readelf(path, '--dyn-syms')
    stack = re.search(r'GNU_STACK.*', segments)
    if not re.search(r'Type:\s+DYN', header) or 'PIE' not in dynamic:
        yield 'it is loaded at a fixed address (-pie)'
    if 'GNU_RELRO' not in segments:
        yield 'its tables stay writable (-z relro)'
    if 'BIND_NOW' not in dynamic:
        yield 'its functions are looked up late (-z now)'
    if stack is None or ' RWE ' in stack.group(0):
        yield 'its stack may be executed (-z noexecstack)'
    if 'RPATH' in dynamic or 'RUNPATH' in dynamic:
        yield 'it looks for libraries in a folder of its own (rpath)'
    if '__stack_chk_fail' not in symbols:
        yield 'its returns are not guarded (-fstack-protector-strong)'
    # The companion copies nothing that the compiler could check.
    if path == program and '_chk@' not in symbols.replace('__stack_chk_fail', ''):
        yield 'its copies are not checked (-D_FORTIFY_SOURCE)'


def sanitized():
    return '__asan_init' in readelf(program, '--dyn-syms') or '__tsan_init' in readelf(program, '--dyn-syms')


if sanitized():
    print('skipped: built with a sanitizer, which has checks of its own')
    sys.exit(0)
wrong = [f'{os.path.basename(path)}: {fault}' for path in (program, companion) if os.path.exists(path) for fault in faults(path)]
print('\n'.join(wrong) or 'kept: position-independent, read-only tables, no executable stack, guarded returns, checked copies')
sys.exit(1 if wrong else 0)
