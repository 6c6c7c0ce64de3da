"""`python -m linkwright.cli`: the command line, where its script is not on the path."""

from linkwright.cli import start

if __name__ == "__main__":
    start()
