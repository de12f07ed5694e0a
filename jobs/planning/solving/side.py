"""The process beside the planner's, for another processor: improves the parts it is given.

`python -m jobs.planning.solving.side DESCRIPTOR`, with the problem on standard input and the line
to the planner's process at that descriptor. It ends as soon as the line does, in the midst of a
part too, so none is left behind when the planner's process is killed. No Django.
"""

from __future__ import annotations

import select
import signal
import socket
import sys
import time

from jobs.planning.solving.draft import Draft
from jobs.planning.solving.part_work import worked
from jobs.planning.solving.side_messages import (
    Begin,
    Done,
    Ended,
    Ready,
    read_problem,
    receive,
    send,
)
from jobs.planning.solving.tables import tables_of

STEPS_BETWEEN_LOOKS = 8


def main() -> None:
    """Work until the line ends."""
    # Ctrl-C in a shell reaches every process of it; this one goes when the planner's does.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    channel = socket.socket(fileno=int(sys.argv[1]))
    tables = tables_of(read_problem(sys.stdin.buffer))
    draft = Draft(tables)
    try:
        send(channel, Ready())
        while True:
            message = receive(channel)
            if not isinstance(message, Begin):
                continue
            begun_s = time.process_time()
            if message.draft is not None:
                draft = Draft.unpacked(tables, message.draft)
            answer = worked(draft, message.part, Listening(channel))
            send(channel, Done(answer, time.process_time() - begun_s))
    except Ended:
        return


class Listening:
    """Whether something came down the line, which while a part is improved means its end."""

    def __init__(self, channel: socket.socket) -> None:
        self.channel = channel
        self.asked = 0
        self.over = False

    def __call__(self) -> bool:
        """Raises Ended if the line is gone."""
        self.asked += 1
        look = not self.over and self.asked % STEPS_BETWEEN_LOOKS == 0
        if look and select.select([self.channel], [], [], 0)[0]:
            receive(self.channel)
            self.over = True
        return self.over


if __name__ == "__main__":
    main()
