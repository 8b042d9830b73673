"""What the command line and the Python interface do: each command ties the layers below together."""
