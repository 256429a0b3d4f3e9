//! Boxes → groups of boxes that touch, directly or through others.
//!
//! Areas in different groups cannot meet, so each group is overlaid for itself.
//!
//! Method: a sweep along x over boxes sorted by their left side; the boxes still open lie in
//! strips along y; union-find joins those that touch. As long as a box that spans a strip from side
//! to side is open, all that is open there is one group, and one box stands for it: thousands of
//! boxes upon each other cost no more than thousands apart.

use super::Frame;
use super::rows::Rows;
use crate::sets::Sets;

/// For each group the indices of its boxes, ascending; groups in the order of their first box.
pub(super) fn clusters(frames: &[Option<Frame>]) -> Vec<Vec<usize>> {
    let mut sets = Sets::new(frames.len());
    let mut order: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].is_some()).collect();
    order.sort_by_key(|&i| (frames[i].map(|f| f.x[0]), i));
    let mut strips = Strips::over(frames);
    for i in order {
        if let Some(frame) = frames[i] {
            strips.visit(i, &frame, frames, &mut sets);
        }
    }
    sets.groups(|i| frames[i].is_some())
}

/// Open boxes in strips along y.
struct Strips {
    rows: Rows,
    strips: Vec<Strip>,
}

/// The open boxes that reach into a strip.
#[derive(Default)]
struct Strip {
    /// Of those that span it from side to side the one that stays open longest.
    spanning: Option<usize>,
    /// Others; while `spanning` is open, only those that stay open longer.
    open: Vec<usize>,
}

impl Strips {
    fn over(frames: &[Option<Frame>]) -> Self {
        let present = || frames.iter().flatten();
        let low = present().map(|f| i64::from(f.y[0])).min().unwrap_or(0);
        let high = present().map(|f| i64::from(f.y[1])).max().unwrap_or(0);
        let count = ((frames.len() as f64).sqrt() as i64 * 2).clamp(1, 4096);
        let strips = (0..=count).map(|_| Strip::default()).collect();
        Self { rows: Rows::over([low, high], count), strips }
    }

    fn visit(&mut self, i: usize, frame: &Frame, frames: &[Option<Frame>], sets: &mut Sets) {
        let (first, last) = self.rows.between(frame.y).into_inner();
        for (k, strip) in self.strips[first..=last].iter_mut().enumerate() {
            let spans = k > 0 && first + k < last;
            strip.visit((i, frame, spans), frames, sets);
        }
    }
}

impl Strip {
    fn visit(
        &mut self,
        (i, frame, spans): (usize, &Frame, bool),
        frames: &[Option<Frame>],
        sets: &mut Sets,
    ) {
        let end = |j: usize| frames[j].map_or(i32::MIN, |other| other.x[1]);
        if let Some(spanning) = self.spanning.filter(|&j| end(j) >= frame.x[0]) {
            // It joined whatever was open when it came, and whatever came since.
            sets.join(i, spanning);
            if frame.x[1] <= end(spanning) {
                return;
            }
        } else {
            self.spanning = None;
            self.open.retain(|&j| end(j) >= frame.x[0]);
            for &j in &self.open {
                if spans || frames[j].is_some_and(|other| other.touches(frame)) {
                    sets.join(i, j);
                }
            }
        }
        if spans {
            self.open.retain(|&j| end(j) > frame.x[1]);
            self.spanning = Some(i);
        } else {
            self.open.push(i);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;

    fn frame(x0: i32, y0: i32, x1: i32, y1: i32) -> Option<Frame> {
        Some(Frame { x: [x0, x1], y: [y0, y1] })
    }

    #[test]
    fn chains_of_boxes_are_one_group() {
        let frames = [
            frame(0, 0, 10, 10),
            frame(100, 100, 110, 110),
            frame(10, 10, 20, 20),
            None,
            frame(15, 18, 40, 19),
            frame(0, 1000, 1000, 1001),
        ];
        assert_eq!(clusters(&frames), [vec![0, 2, 4], vec![1], vec![5]]);
        assert!(clusters(&[]).is_empty());
    }

    /// Boxes of all shapes and sizes, against comparing each with each.
    #[test]
    fn groups_are_those_of_all_pairs() {
        let mut dice = Lehmer::new();
        let mut below = |limit| dice.below(limit);
        for case in 0..40 {
            let (across, up) = (1 + below(300), 1 + below(if case % 2 == 0 { 900 } else { 60 }));
            let boxes: Vec<Option<Frame>> = (0..120)
                .map(|_| {
                    let (x, y) = (below(2000), below(2000));
                    frame(x, y, x + below(across), y + below(up))
                })
                .collect();
            let mut sets = Sets::new(boxes.len());
            for (i, a) in boxes.iter().flatten().enumerate() {
                for (j, b) in boxes.iter().flatten().enumerate().skip(i + 1) {
                    if a.touches(b) {
                        sets.join(i, j);
                    }
                }
            }
            assert_eq!(clusters(&boxes), sets.groups(|_| true), "case {case}");
        }
    }
}
