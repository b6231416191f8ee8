"""The views of the published file: columns with unit and description."""
