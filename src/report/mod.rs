//! Figures into text for people; nothing is computed here.
