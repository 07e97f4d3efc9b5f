/** Says what went wrong as soon as it did; nothing while all is well. */
export function Wrong({ what }: { what: string | null }) {
  return (
    what && (
      <p className="wrong" role="alert">
        {what}
      </p>
    )
  );
}
