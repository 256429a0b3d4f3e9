//! Contours → [`ContourTree`]: who lies inside whom.

/// For each line the closed line directly around it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ContourTree {
    /// Index of the smallest closed line around each line; `None` at the top.
    pub parent: Vec<Option<usize>>,
}
