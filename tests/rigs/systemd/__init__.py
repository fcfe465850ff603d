"""The units as they are shipped, under a real systemd that boots over a throw-away copy of this machine."""
