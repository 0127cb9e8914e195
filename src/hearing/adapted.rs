//! The model's network, taught to hear through a room's noise.
//!
//! The model was made for clean speech. From the same speech with noise its network can
//! learn to say what it says without: `examples/adapt` does that, and writes what it
//! changed to `adapted/changes.safetensors`, in whole steps, at most seven up or down, of a
//! size that each row of weights has. They are added to the weights while the model is loaded; its own files stay as they came (docs/hearing-adapted.md).

use safetensors::tensor::{SafeTensors, TensorView};
use sha2::{Digest as _, Sha256};

/// The changes, in the open format safetensors. For each group of weights NAME its steps
/// (`NAME`, whole numbers) and how large a step is in each row (`NAME.step`); its
/// metadata tells where in the model's file each group begins, and `of` is the SHA-256 of
/// that file.
static CHANGES: &[u8] = include_bytes!("adapted/changes.safetensors");

const WEIGHT: usize = size_of::<f32>();

/// Adds the changes to a model's file `am/final.mdl`. Any other model's is left as it is,
/// which is told by `false`.
pub(super) fn adapt(model: &mut [u8]) -> bool {
    add(CHANGES, model).is_some()
}

/// `None`, and nothing added, where the changes are not for this file.
fn add(changes: &[u8], model: &mut [u8]) -> Option<()> {
    let tensors = SafeTensors::deserialize(changes).ok()?;
    let (_, header) = SafeTensors::read_metadata(changes).ok()?;
    let places = header.metadata().as_ref()?;
    (tensors.tensor("of").ok()?.data() == &*Sha256::digest(&*model)).then_some(())?;
    let mut pieces = Vec::new();
    for (name, place) in places {
        let (steps, sizes) = (
            tensors.tensor(name).ok()?,
            tensors.tensor(&format!("{name}.step")).ok()?,
        );
        let at: usize = place.parse().ok()?;
        let end = at.checked_add(steps.data().len() * WEIGHT)?;
        model.get(at..end)?;
        pieces.push((at..end, steps, sizes));
    }
    for (place, steps, sizes) in pieces {
        add_to(&mut model[place], &steps, &sizes);
    }
    Some(())
}

fn add_to(weights: &mut [u8], steps: &TensorView<'_>, sizes: &TensorView<'_>) {
    let (sizes, _) = sizes.data().as_chunks::<WEIGHT>();
    let row = steps.data().len() / sizes.len().max(1);
    let (weights, _) = weights.as_chunks_mut::<WEIGHT>();
    let rows = weights.chunks_mut(row.max(1));
    for ((weights, steps), size) in rows.zip(steps.data().chunks(row.max(1))).zip(sizes) {
        let size = f32::from_le_bytes(*size);
        for (weight, step) in weights.iter_mut().zip(steps) {
            let now = f32::from_le_bytes(*weight) + size * f32::from(step.cast_signed());
            *weight = now.to_le_bytes();
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use safetensors::Dtype;

    use super::*;

    /// Two rows of three weights behind four bytes of something else.
    fn model() -> Vec<u8> {
        let weights = [1.0_f32, 2.0, 3.0, -1.0, 0.5, 0.0];
        let weights = weights.iter().flat_map(|it| it.to_le_bytes());
        b"head".iter().copied().chain(weights).collect()
    }

    fn changes(of: &[u8], at: &str) -> Vec<u8> {
        let of = Sha256::digest(of);
        let steps = [1_i8, -2, 0, 7, 0, -7].map(i8::cast_unsigned);
        let sizes = [0.5_f32, 0.25].map(f32::to_le_bytes).concat();
        let tensors = [
            ("of", TensorView::new(Dtype::U8, vec![32], &of)),
            ("a", TensorView::new(Dtype::I8, vec![2, 3], &steps)),
            ("a.step", TensorView::new(Dtype::F32, vec![2], &sizes)),
        ];
        let tensors = tensors.map(|(name, tensor)| (name, tensor.unwrap()));
        let places = HashMap::from([("a".to_owned(), at.to_owned())]);
        safetensors::serialize(tensors, Some(places)).unwrap()
    }

    #[test]
    fn each_row_has_steps_of_its_own_size() {
        let mut adapted = model();
        assert_eq!(add(&changes(&model(), "4"), &mut adapted), Some(()));
        assert_eq!(&adapted[..4], b"head");
        let (weights, _) = adapted[4..].as_chunks::<WEIGHT>();
        let weights: Vec<f32> = weights.iter().map(|it| f32::from_le_bytes(*it)).collect();
        assert_eq!(weights, [1.5, 1.0, 3.0, 0.75, 0.5, -1.75]);
    }

    #[test]
    fn another_model_or_damaged_changes_leave_it_as_it_is() {
        let good = changes(&model(), "4");
        for (changes, model) in [
            (good.clone(), [model(), vec![0]].concat()),
            (changes(&model(), "8"), model()),
            (changes(&model(), "x"), model()),
            (good[..good.len() - 1].to_vec(), model()),
            (Vec::new(), model()),
        ] {
            let mut adapted = model.clone();
            assert_eq!(add(&changes, &mut adapted), None);
            assert_eq!(adapted, model);
        }
    }

    #[test]
    fn what_is_built_in_is_for_the_pinned_model() {
        let tensors = SafeTensors::deserialize(CHANGES).unwrap();
        let of = tensors.tensor("of").unwrap().data();
        let of: Vec<String> = of.iter().map(|byte| format!("{byte:02x}")).collect();
        let of = of.concat();
        let pins = include_str!("../../setup/pins.txt");
        let pin = format!("{of}  assets/model-en-us/am/final.mdl");
        assert!(pins.lines().any(|it| it == pin), "{pin}");
    }
}
