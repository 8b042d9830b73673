"""`python -m refracmc`, and the command `refracmc`."""

import sys


def main() -> int:
    """Run the command line; an interrupt while it loads, or after its last word, ends with the one line as well."""
    try:
        from refracmc.cli import main as command

        return command()
    except KeyboardInterrupt:
        import signal

        signal.signal(signal.SIGINT, signal.SIG_IGN)
        sys.stderr.write("refracmc: interrupted; finished blocks are kept: run again with --resume\n")
        return 1


if __name__ == "__main__":
    sys.exit(main())
