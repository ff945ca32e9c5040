"""What goes with a release: the licences of everything that is needed at run time, the bill of materials, the built packages."""
