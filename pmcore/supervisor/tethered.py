"""A child of the supervisor, tied to it by a pipe: `python -m pmcore.supervisor.tethered PIPE MODULE ARGUMENT…`.

The supervisor alone holds the pipe's other end and never writes. When the pipe ends the supervisor has been killed, and
the child kills its whole process group, itself included: nobody is left to end it in order, and all work outlives that.
"""

import os
import runpy
import signal
import sys
import threading


def main() -> None:
    pipe, module = int(sys.argv[1]), sys.argv[2]
    os.set_inheritable(pipe, False)
    threading.Thread(target=_die_with, args=(pipe,), daemon=True).start()
    sys.argv = [module, *sys.argv[3:]]
    runpy.run_module(module, run_name="__main__", alter_sys=True)


def _die_with(pipe: int) -> None:
    while os.read(pipe, 1):
        pass
    os.killpg(0, signal.SIGKILL)


if __name__ == "__main__":
    main()
