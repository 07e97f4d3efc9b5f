import { useEffect, useState } from 'react';
import type { Sample } from '../../server/api/schemas.ts';
import { text } from '../lib/text.ts';
import { PickSample } from './pick-sample.tsx';

export interface PickPhotoProps {
  samples: Sample[];
  onFile: (file: Blob) => void;
  onSample: (name: string) => void;
}

/** Ways to bring a photo in: a file, the camera, a sample; dropping and pasting work everywhere on the page. */
export function PickPhoto({ samples, onFile, onSample }: PickPhotoProps) {
  return (
    <div className="pick">
      <div className="pick-own">
        <FileButton className="button-main" label={text('photo.choose')} onFile={onFile} />
        <FileButton className="only-touch" label={text('photo.take')} camera onFile={onFile} />
        <p className="field-help only-pointer">{text('photo.orDrop')}</p>
      </div>
      {samples.length > 1 && <PickSample samples={samples} onSample={onSample} />}
    </div>
  );
}

/** A button that opens the file chooser, or the camera where there is one. */
export function FileButton({
  label,
  onFile,
  camera = false,
  accept = 'image/*,.heic,.heif',
  className = '',
}: {
  label: string;
  onFile: (file: File) => void;
  camera?: boolean;
  accept?: string;
  className?: string;
}) {
  return (
    <label className={`file-button ${className}`}>
      <input
        type="file"
        accept={accept}
        {...(camera ? { capture: 'environment' as const } : {})}
        onChange={(event) => {
          const file = event.currentTarget.files?.[0];
          event.currentTarget.value = ''; // so that the same file can be chosen again
          if (file) onFile(file);
        }}
      />
      {label}
    </label>
  );
}

/** Listens for a photo dropped on, or pasted into, the page. Returns whether one is being held over it. */
export function useDroppedPhoto(onFile: (file: File) => void): boolean {
  const [over, setOver] = useState(false);
  useEffect(() => {
    const hasFile = (event: DragEvent) => event.dataTransfer?.types.includes('Files') ?? false;
    const onOver = (event: DragEvent) => {
      if (!hasFile(event)) return;
      event.preventDefault();
      setOver(true);
    };
    const onLeave = (event: DragEvent) => {
      if (event.relatedTarget === null) setOver(false);
    };
    const onDrop = (event: DragEvent) => {
      if (!hasFile(event)) return;
      event.preventDefault();
      setOver(false);
      const file = event.dataTransfer?.files[0];
      if (file) onFile(file);
    };
    const onPaste = (event: ClipboardEvent) => {
      const file = [...(event.clipboardData?.files ?? [])].find((one) => one.type.startsWith('image/'));
      if (!file) return;
      event.preventDefault();
      onFile(file);
    };
    addEventListener('dragover', onOver);
    addEventListener('dragleave', onLeave);
    addEventListener('drop', onDrop);
    addEventListener('paste', onPaste);
    return () => {
      removeEventListener('dragover', onOver);
      removeEventListener('dragleave', onLeave);
      removeEventListener('drop', onDrop);
      removeEventListener('paste', onPaste);
    };
  }, [onFile]);
  return over;
}
