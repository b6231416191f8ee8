"""`python -m pipelines` is `flocledger`."""

from pipelines.cli import main

if __name__ == "__main__":
    main()
