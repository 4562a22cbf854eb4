//! Speed.
fn main() {}
