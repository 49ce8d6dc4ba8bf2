"""Photographs as pages show them."""

from dataclasses import dataclass

from server.model.people import PhotoState
from server.pages.shapes import PhotoShown
from server.store.photos import Photo

_ALT = {"plate": "Photograph of the rating plate", "rig": "Photograph of the rig"}


@dataclass(frozen=True, slots=True)
class DraftPhoto:
    """A photograph of a draft. `shown` None: it is being drawn, or was refused."""

    id: str
    href: str
    words: str
    is_working: bool
    shown: PhotoShown | None


@dataclass(frozen=True, slots=True)
class DraftPhotos:
    """The photographs of one subject on a step, and where another is sent."""

    subject: str
    label: str
    href: str
    photos: tuple[DraftPhoto, ...]


def alt_of(subject: str) -> str:
    return _ALT.get(subject, "Photograph")


def show_photo(photo: Photo) -> PhotoShown:
    path = f"/photos/{photo.public_id}"
    return PhotoShown(path, f"{path}?size=small", alt_of(photo.subject), photo.width, photo.height)


def draft_photos(photos: tuple[Photo, ...], *, draft_id: str, subject: str) -> DraftPhotos:
    own = tuple(photo for photo in photos if photo.subject == subject)
    path = f"/send/{draft_id}/photos"
    return DraftPhotos(
        subject=subject,
        label=alt_of(subject),
        href=path,
        photos=tuple(
            DraftPhoto(
                id=photo.public_id,
                href=f"{path}/{photo.public_id}",
                words=_words(photo),
                is_working=photo.state is PhotoState.WORKING,
                shown=show_photo(photo) if photo.file_sha256 is not None else None,
            )
            for photo in own
        ),
    )


def _words(photo: Photo) -> str:
    if photo.state is PhotoState.WORKING:
        return "It is being drawn anew, without place, camera or time."
    if photo.state is PhotoState.REFUSED:
        return photo.failure or "It could not be drawn."
    return "Drawn anew, without place, camera or time."
