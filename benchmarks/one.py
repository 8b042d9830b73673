"""A process that times one engine, a round for every line it reads; its lines are JSON."""

from __future__ import annotations

import json
import resource
import sys
import time

from threadpoolctl import threadpool_limits

from .work import ENGINES, plan_of_the_case


def main(name: str) -> None:
    """Answer each line of standard input with the seconds of one round, trials and peak memory so far."""
    engine = ENGINES[name]
    plan = plan_of_the_case()
    with threadpool_limits(1):
        engine.make(plan, 0)[0]()  # compiled, loaded, buffers warm
        print(json.dumps({"ready": name}), flush=True)
        for number, _ in enumerate(sys.stdin, start=1):
            run, trials = engine.make(plan, number)
            begin, begin_cpu = time.perf_counter(), time.process_time()
            run()
            spent, cpu = time.perf_counter() - begin, time.process_time() - begin_cpu
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
            print(json.dumps({"wall": spent, "cpu": cpu, "trials": trials, "peak_mb": peak}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
