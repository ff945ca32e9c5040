"""One click in a tooth: its outline, its chamber, its canals."""
