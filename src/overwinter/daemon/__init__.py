"""What each of our services tells the system it runs on: systemd, and a running commentary for people."""
