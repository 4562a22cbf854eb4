//! struck
