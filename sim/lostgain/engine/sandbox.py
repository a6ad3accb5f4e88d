"""What a worker may not do: write outside its scratch folder, start a program, reach the network, outlive its parent.

All of it is asked of the operating system, before any netlist is loaded. Where the system offers no way the worker goes
on without, since `guard` has refused hostile text before; `lock` says what is in force.
"""

from __future__ import annotations

import contextlib
import ctypes
import math
import os
import signal
import struct
import sys
from pathlib import Path

#: Address space of a worker [byte]: far above what ngspice and numpy need, far below what brings a machine down.
MEMORY = 2 << 30

#: Largest file a worker may write in its scratch folder [byte]; without Landlock it may write none at all.
LARGEST_FILE = 16 << 20

# Landlock's system calls have the same numbers on every architecture (Linux, include/uapi/asm-generic/unistd.h).
_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446
_ASK_VERSION = 1
_PATH_BENEATH = 1
_PR_SET_PDEATHSIG, _PR_SET_NO_NEW_PRIVS = 1, 38

# Rights, from Linux, include/uapi/linux/landlock.h: bit number of each.
_EXECUTE, _WRITE_FILE, _READ_FILE, _READ_DIR = 1 << 0, 1 << 1, 1 << 2, 1 << 3
_CHANGES_FOLDERS = sum(1 << bit for bit in range(4, 13))  # remove and make files, folders, sockets, devices, links
_REFER, _TRUNCATE, _IOCTL_DEVICE = 1 << 13, 1 << 14, 1 << 15
_BIND_AND_CONNECT = 0b11
_SOCKETS_AND_SIGNALS = 0b11


def move_into(scratch: Path) -> None:
    """Make `scratch` the working folder and the home of this process."""
    os.chdir(scratch)
    os.umask(0o077)
    for name in ("HOME", "USERPROFILE", "SPICE_USERINIT_DIR", "TMPDIR", "TEMP", "TMP"):
        os.environ[name] = str(scratch)
    for name in ("NGSPICE_INPUT_DIR", "SPICE_SCRIPTS"):  # further places ngspice would read files from
        os.environ.pop(name, None)


def die_with_parent() -> None:
    """Have the kernel kill this process when the thread that started it ends (Linux)."""
    if not sys.platform.startswith("linux"):
        return  # elsewhere the closed pipe ends an idle worker, and `allow_cpu` a busy one
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if str(os.getppid()) != os.environ.get("LOSTGAIN_PARENT", str(os.getppid())):
        os._exit(1)  # the parent was gone before the call above


def lock(scratch: Path) -> tuple[str, ...]:
    """Give up what a worker does not need, for good.

    Parameters
    ----------
    scratch : Path
        The one folder in which files may still be written, where the system can tell folders apart.

    Returns
    -------
    tuple of str
        What is in force, in words: empty where the system offers nothing.
    """
    active = list(_landlock(scratch))
    limited = [_limit("RLIMIT_AS", MEMORY) and "memory limited"]
    limited.append(_limit("RLIMIT_CORE", 0) and "no core dumps")
    limited.append(_limit("RLIMIT_NPROC", 0) and "no new processes")
    if active:
        limited.append(_limit("RLIMIT_FSIZE", LARGEST_FILE) and "size of files limited")
    else:
        limited.append(_limit("RLIMIT_FSIZE", 0) and "no files written")
    return tuple(active + [words for words in limited if words])


def allow_cpu(seconds: float) -> None:
    """Let this process compute for so long from now; the kernel kills it after that, even with its parent gone.

    Parameters
    ----------
    seconds : float
        [s]
    """
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        soft = math.ceil(used.ru_utime + used.ru_stime + min(seconds, 1e8)) + 2
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def _limit(name: str, value: int) -> bool:
    try:
        import resource

        kind = getattr(resource, name)
        _, hard = resource.getrlimit(kind)
        if hard != resource.RLIM_INFINITY:
            value = min(value, hard)
        resource.setrlimit(kind, (value, value))
    except (ImportError, AttributeError, OSError, ValueError):
        return False
    return True


def _landlock(scratch: Path) -> tuple[str, ...]:
    """Restrict this process by Landlock, as far as this kernel knows it."""
    if not sys.platform.startswith("linux"):
        return ()
    libc = ctypes.CDLL(None, use_errno=True)
    version = int(libc.syscall(_CREATE_RULESET, None, ctypes.c_size_t(0), _ASK_VERSION))
    if version < 1:
        return ()
    files = _EXECUTE | _WRITE_FILE | _CHANGES_FOLDERS
    files |= (_REFER if version >= 2 else 0) | (_TRUNCATE if version >= 3 else 0)
    files |= _IOCTL_DEVICE if version >= 5 else 0
    rules = struct.pack(
        "=QQQ", files, _BIND_AND_CONNECT if version >= 4 else 0, _SOCKETS_AND_SIGNALS if version >= 6 else 0
    )
    size = 8 if version < 4 else 16 if version < 6 else 24
    ruleset = int(libc.syscall(_CREATE_RULESET, rules, ctypes.c_size_t(size), 0))
    if ruleset < 0:
        return ()
    folder = os.open(scratch, os.O_PATH | os.O_CLOEXEC)
    try:
        inside = (files & ~_EXECUTE & ~_IOCTL_DEVICE) & ~_REFER
        beneath = struct.pack("=Qi", inside, folder)
        if libc.syscall(_ADD_RULE, ruleset, _PATH_BENEATH, beneath, 0) != 0:
            return ()
        if libc.prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0 or libc.syscall(_RESTRICT_SELF, ruleset, 0) != 0:
            return ()
    finally:
        os.close(folder)
        os.close(ruleset)
    active = ["no writing outside the scratch folder", "no programs started"]
    if version >= 4:
        active.append("no network")
    return tuple(active)
