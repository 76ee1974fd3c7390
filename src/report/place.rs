//! Puts labels beside what they name so that none covers another.

use super::rect::Rect;

/// A label that wants to stand near a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    pub at: (f64, f64),
    pub width: f64,
    pub height: f64,
}

/// Directions tried, best first: right, left, above, below, then the corners.
const DIRECTIONS: [(f64, f64); 8] = [
    (1.0, 0.0),
    (-1.0, 0.0),
    (0.0, -1.0),
    (0.0, 1.0),
    (1.0, -1.0),
    (-1.0, -1.0),
    (1.0, 1.0),
    (-1.0, 1.0),
];
/// Distances tried from point to label, px.
const GAPS: [f64; 5] = [8.0, 14.0, 22.0, 34.0, 48.0];
/// Free room kept between two labels, px.
const AIR: f64 = 2.0;

/// A place for every label, in the order of `wanted` (the most important
/// first): inside `area`, off everything in `taken` and off one another.
/// `None` where no room is left; such a label is better left out.
pub fn place(area: Rect, taken: &[Rect], wanted: &[Wanted]) -> Vec<Option<Rect>> {
    let mut taken = taken.to_vec();
    let mut places = Vec::with_capacity(wanted.len());
    for label in wanted {
        let found = candidates(label)
            .find(|spot| area.holds(spot) && !taken.iter().any(|t| t.overlaps(&spot.inset(-AIR))));
        taken.extend(found);
        places.push(found);
    }
    places
}

fn candidates(label: &Wanted) -> impl Iterator<Item = Rect> + '_ {
    GAPS.iter().flat_map(move |gap| {
        DIRECTIONS.iter().map(move |&(right, down)| {
            let reach = if right != 0.0 && down != 0.0 {
                gap * 0.7
            } else {
                *gap
            };
            let middle_x = label.at.0 + right * (reach + label.width / 2.0);
            let middle_y = label.at.1 + down * (reach + label.height / 2.0);
            Rect::at(
                middle_x - label.width / 2.0,
                middle_y - label.height / 2.0,
                label.width,
                label.height,
            )
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_a_crowd_never_overlap_and_stay_inside() {
        let area = Rect::at(0.0, 0.0, 600.0, 400.0);
        // a tight, regular crowd: 60 points within 120 x 80 px
        let wanted: Vec<Wanted> = (0..60)
            .map(|i| Wanted {
                at: (
                    250.0 + f64::from(i % 10) * 12.0,
                    160.0 + f64::from(i / 10) * 14.0,
                ),
                width: 58.0,
                height: 16.0,
            })
            .collect();
        let block = Rect::at(240.0, 150.0, 30.0, 30.0);
        let places = place(area, &[block], &wanted);
        let placed: Vec<Rect> = places.iter().flatten().copied().collect();
        assert!(placed.len() > 10, "only {} placed", placed.len());
        for (i, a) in placed.iter().enumerate() {
            assert!(area.holds(a));
            assert!(!a.overlaps(&block));
            for b in placed.iter().skip(i + 1) {
                assert!(!a.overlaps(b), "{a:?} covers {b:?}");
            }
        }
    }

    #[test]
    fn a_free_label_stands_right_of_its_point() {
        let area = Rect::at(0.0, 0.0, 300.0, 100.0);
        let wanted = Wanted {
            at: (50.0, 50.0),
            width: 40.0,
            height: 10.0,
        };
        assert_eq!(
            place(area, &[], &[wanted]),
            vec![Some(Rect::at(58.0, 45.0, 40.0, 10.0))]
        );
    }

    #[test]
    fn a_label_without_room_is_left_out() {
        let area = Rect::at(0.0, 0.0, 30.0, 10.0);
        let wanted = Wanted {
            at: (15.0, 5.0),
            width: 40.0,
            height: 10.0,
        };
        assert_eq!(place(area, &[], &[wanted]), vec![None]);
    }
}
