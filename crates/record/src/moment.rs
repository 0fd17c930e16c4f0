//! Civil dates and times as people write them; no zone is ever invented.
