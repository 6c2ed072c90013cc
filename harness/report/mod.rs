//! What people and programs read: the page, JUnit, the terminal summary. One file a format.
