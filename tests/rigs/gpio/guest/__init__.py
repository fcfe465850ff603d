"""What runs inside the machine, as root, with nothing but Python's library and the project itself."""
