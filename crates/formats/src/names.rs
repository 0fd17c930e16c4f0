//! Rules that turn file and folder names into claims.
